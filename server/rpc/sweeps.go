package rpc

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/page"
	"bowroll/server/refusal"
	"bowroll/server/store"
	"bowroll/server/sweep"
)

// Sweeps answers the sweeps service from a store and its desk.
type Sweeps struct {
	bowrollv1.UnimplementedSweepsServer
	keeper
	desk    *sweep.Desk
	rows    *SweepRows
	workers int
}

// Quotas of a site: sweeps that have not ended, and sweeps kept.
const (
	mostOpenSweeps = 16
	mostKeptSweeps = 1000
)

// NewSweeps returns the sweeps service. Workers is how many parts this service
// computes at once, 0 where it computes none.
func NewSweeps(kept store.Store, snapshot *catalog.Snapshot, desk *sweep.Desk, rows *SweepRows, workers int, now func() time.Time) *Sweeps {
	return &Sweeps{keeper: keeper{store: kept, snapshot: snapshot, now: now}, desk: desk, rows: rows, workers: workers}
}

// EstimateSweep says what a sweep would take.
func (s *Sweeps) EstimateSweep(ctx context.Context, r *bowrollv1.EstimateSweepRequest) (*bowrollv1.SweepEstimate, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	plan, kernel, err := s.prepare(ctx, r.GetSpec())
	if err != nil {
		return nil, err
	}
	found, err := sweep.Probe(ctx, r.GetSpec(), plan, kernel)
	if err != nil {
		return nil, err
	}
	each := sweep.ChunkRows(r.GetSpec())
	scale := float64(plan.Rows) / float64(found.Rows)
	out := &bowrollv1.SweepEstimate{
		RowCount: int32(plan.Rows), ChunkCount: int32(sweep.Chunks(plan.Rows, each)), ChunkRowCount: int32(each),
		CpuS: scale * found.CPU.Seconds(), ResultBytes: scale * float64(found.Bytes),
		ProbeRowCount: int32(found.Rows), ProbeRefusedCount: int32(found.Refused), ProbeFault: found.Fault,
		Columns: sweep.Columns(r.GetSpec()), Provenance: provenance(s.snapshot, r),
	}
	if s.workers > 0 {
		out.ElapsedS = proto.Float64(out.CpuS / float64(min(s.workers, int(out.ChunkCount))))
	}
	return out, s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		return eachSweep(ctx, reader, func(kept store.Sweep) {
			if !kept.State.Ended() {
				out.WaitingChunkCount += int32(kept.Chunks - kept.ChunksDone)
			}
		})
	})
}

// eachSweep calls visit for every sweep of a site.
func eachSweep(ctx context.Context, r store.Reader, visit func(store.Sweep)) error {
	for after := ""; ; {
		list, err := r.Sweeps(ctx, store.SweepFilter{}, after, 500)
		if err != nil || len(list) == 0 {
			return err
		}
		for _, one := range list {
			visit(one)
		}
		after = list[len(list)-1].ID
	}
}

// CreateSweep keeps a sweep and queues it.
func (s *Sweeps) CreateSweep(ctx context.Context, r *bowrollv1.CreateSweepRequest) (*bowrollv1.Sweep, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	plan, _, err := s.prepare(ctx, r.GetSpec())
	if err != nil {
		return nil, err
	}
	spec := proto.CloneOf(r.GetSpec())
	if plan.Sample && spec.Seed == nil {
		spec.Seed = proto.Int32(sweep.DefaultSeed)
	}
	each := sweep.ChunkRows(spec)
	made := store.Sweep{
		Site: site, ID: r.GetSweepId(), DisplayName: r.GetDisplayName(), State: store.SweepQueued, Spec: encoded(spec),
		ModelVersion: perf.ModelVersion, CatalogRevision: s.snapshot.Revision(), RequestDigest: s.snapshot.Digest(spec),
		Rows: int64(plan.Rows), ChunkRows: int64(each), Chunks: int64(sweep.Chunks(plan.Rows, each)), Version: 1,
	}
	return s.change(ctx, site, "CreateSweep", r, r.GetValidateOnly(), func(ctx context.Context, tx store.Tx, now time.Time) (store.Sweep, error) {
		made.CreateTime = now
		open, all := 0, 0
		if err := eachSweep(ctx, tx, func(kept store.Sweep) {
			all++
			if !kept.State.Ended() {
				open++
			}
		}); err != nil {
			return made, err
		}
		if open >= mostOpenSweeps || all >= mostKeptSweeps {
			return made, store.Errorf(store.Refused, "SWEEP_QUOTA", "site %s has %d sweeps that have not ended (at most %d) and keeps %d (at most %d): wait, cancel or delete some",
				site, open, mostOpenSweeps, all, mostKeptSweeps)
		}
		if err := tx.PutSweep(ctx, made, 0); err != nil {
			return made, err
		}
		if r.GetValidateOnly() {
			return made, nil
		}
		return made, s.desk.Enqueue(ctx, tx, made)
	})
}

// GetSweep returns one sweep.
func (s *Sweeps) GetSweep(ctx context.Context, r *bowrollv1.GetSweepRequest) (*bowrollv1.Sweep, error) {
	kept, err := s.find(ctx, r.GetName())
	if err != nil {
		return nil, err
	}
	return s.whole(kept, r)
}

// find reads the sweep that a name names.
func (s *Sweeps) find(ctx context.Context, name string) (kept store.Sweep, err error) {
	site, id, err := s.child("name", name)
	if err != nil {
		return kept, err
	}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) (err error) {
		kept, err = reader.Sweep(ctx, id)
		return err
	})
	return kept, err
}

// ListSweeps returns a page of sweeps.
func (s *Sweeps) ListSweeps(ctx context.Context, r *bowrollv1.ListSweepsRequest) (*bowrollv1.ListSweepsResponse, error) {
	site, err := s.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	filter := store.SweepFilter{}
	if r.State != nil {
		filter.State = sweepStates[r.GetState()]
	}
	request, after, size, err := seek("sweeps of "+site, string(filter.State), r.GetPageSize(), r.GetPageToken(), 200)
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.ListSweepsResponse{Provenance: provenance(s.snapshot, r)}
	err = s.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		list, err := reader.Sweeps(ctx, filter, after, size+1)
		if err != nil {
			return err
		}
		if len(list) > size {
			list = list[:size]
			out.NextPageToken = page.Next(request, list[size-1].ID)
		}
		for _, kept := range list {
			out.Sweeps = append(out.Sweeps, s.message(kept))
		}
		return nil
	})
	return out, err
}

// CancelSweep ends a sweep.
func (s *Sweeps) CancelSweep(ctx context.Context, r *bowrollv1.CancelSweepRequest) (*bowrollv1.Sweep, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return s.change(ctx, site, "CancelSweep", r, false, func(ctx context.Context, tx store.Tx, now time.Time) (store.Sweep, error) {
		kept, err := sweepUnder(ctx, tx, id, r.GetEtag())
		if err != nil {
			return kept, err
		}
		if kept.State.Ended() {
			return kept, store.Errorf(store.Refused, "SWEEP_ENDED", "sweep %s has ended already: it is %s", id, kept.State)
		}
		was := kept.Version
		kept.State, kept.Reason, kept.EndTime, kept.Version = store.SweepCancelled, r.GetReason(), now, was+1
		return kept, tx.PutSweep(ctx, kept, was)
	})
}

// DeleteSweep removes a sweep that has ended.
func (s *Sweeps) DeleteSweep(ctx context.Context, r *bowrollv1.DeleteSweepRequest) (*bowrollv1.Sweep, error) {
	site, id, err := s.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	var gone store.Sweep
	answer, err := s.change(ctx, site, "DeleteSweep", r, false, func(ctx context.Context, tx store.Tx, _ time.Time) (store.Sweep, error) {
		kept, err := sweepUnder(ctx, tx, id, r.GetEtag())
		if err != nil {
			return kept, err
		}
		if !kept.State.Ended() {
			return kept, store.Errorf(store.Refused, "SWEEP_NOT_ENDED", "sweep %s is %s: cancel it first", id, kept.State)
		}
		gone = kept
		return kept, tx.DeleteSweep(ctx, id, kept.Version)
	})
	if err == nil && gone.ID != "" {
		// Its rows are nobody's now; those that cannot be removed are in nobody's way.
		_ = s.desk.Remove(context.WithoutCancel(ctx), gone)
	}
	return answer, err
}

// sweepUnder reads a sweep to change it, under the etag where one is given.
func sweepUnder(ctx context.Context, tx store.Tx, id, tag string) (store.Sweep, error) {
	kept, err := tx.Sweep(ctx, id)
	if err == nil && tag != "" && tag != etag(kept.Version) {
		err = store.Errorf(store.Changed, "CHANGED", "sweep %s was changed since it was read (it is %s): read it again and decide anew", id, kept.State).At("etag")
	}
	return kept, err
}

// change runs a change that answers with the sweep.
func (s *Sweeps) change(ctx context.Context, site, method string, r mutation, dry bool, change func(ctx context.Context, tx store.Tx, now time.Time) (store.Sweep, error)) (*bowrollv1.Sweep, error) {
	now, answer := store.FromMicros(store.Micros(s.now())), &bowrollv1.Sweep{}
	request := store.Request{ID: r.GetRequestId(), Method: method, Hash: hashOf(r), Time: now}
	if dry {
		request.ID = ""
	}
	result, _, err := s.store.Update(ctx, site, request, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		kept, err := change(ctx, tx, now)
		if err != nil {
			return nil, err
		}
		made, err := s.whole(kept, r)
		if err == nil && dry {
			proto.Reset(answer)
			proto.Merge(answer, made)
			return nil, errChecked
		}
		return encoded(made), err
	})
	if errors.Is(err, errChecked) {
		return answer, nil
	}
	if err != nil {
		return nil, refused(err)
	}
	if err := proto.Unmarshal(result, answer); err != nil {
		return nil, fmt.Errorf("the answer kept for a request cannot be read: %w", err)
	}
	return answer, nil
}

// pieceBytes is how much of a file one message of the stream carries.
const pieceBytes = 512 << 10

// pieces sends a file piece by piece.
type pieces struct {
	to     grpc.ServerStreamingServer[bowrollv1.ReadSweepResponse]
	buffer []byte
}

func (p *pieces) Write(b []byte) (int, error) {
	p.buffer = append(p.buffer, b...)
	for len(p.buffer) >= pieceBytes {
		if err := p.send(pieceBytes); err != nil {
			return 0, err
		}
	}
	return len(b), nil
}

// send sends the first n bytes that are waiting. A message may be read after it
// was sent, so that it has bytes of its own.
func (p *pieces) send(n int) error {
	if n == 0 {
		return nil
	}
	if err := p.to.Context().Err(); err != nil {
		return err
	}
	content := append([]byte(nil), p.buffer[:n]...)
	p.buffer = p.buffer[:copy(p.buffer, p.buffer[n:])]
	return p.to.Send(&bowrollv1.ReadSweepResponse{Content: content})
}

// ReadSweep sends rows as a file.
func (s *Sweeps) ReadSweep(r *bowrollv1.ReadSweepRequest, to grpc.ServerStreamingServer[bowrollv1.ReadSweepResponse]) error {
	ctx := to.Context()
	kept, err := s.find(ctx, r.GetName())
	if err != nil {
		return err
	}
	first, count := int64(r.GetFirstRow()), int64(r.GetRowCount())
	if first >= kept.Rows || first+count > kept.Rows {
		return refusal.Invalid([]*bowrollv1.Violation{{
			Field: "first_row", Value: fmt.Sprint(first), Rule: "range", Allowed: fmt.Sprintf("rows 0 to %d", kept.Rows-1), Hint: "the rows asked for lie in the sweep",
		}})
	}
	if count == 0 {
		count = kept.Rows - first
	}
	// What cannot be read whole is refused before the first byte.
	done, err := s.desk.Done(ctx, kept, first)
	if err != nil {
		return refused(err)
	}
	if done < first+count {
		return refused(store.Errorf(store.Refused, "SWEEP_NOT_DONE", "rows from %d on are not there (sweep %s is %s): ask for those before with first_row and row_count, or wait",
			max(done, first), kept.ID, kept.State))
	}
	out := &pieces{to: to}
	summary, err := s.desk.Read(ctx, kept, r.GetFormat(), sweep.Rows{First: int(first), Count: int(count)}, out)
	if err != nil {
		return refused(err)
	}
	if err := out.send(len(out.buffer)); err != nil {
		return err
	}
	return to.Send(&bowrollv1.ReadSweepResponse{Summary: summary})
}
