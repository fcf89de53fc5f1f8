package sweep

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// An encoder writes tables as a file. Its bytes depend on the rows alone, not on
// how they were cut into tables.
type encoder interface {
	write(t *table) error
	end(s *bowrollv1.SweepFileSummary) error
}

// Rows is a range of the rows of a sweep.
type Rows struct{ First, Count int }

// Read writes rows of a sweep as a file, and returns its summary. Every part that
// they lie in has to be done. One part at a time is in memory.
func (d *Desk) Read(ctx context.Context, s store.Sweep, format bowrollv1.SweepFormat, from Rows, w io.Writer) (*bowrollv1.SweepFileSummary, error) {
	spec := &bowrollv1.SweepSpec{}
	if err := proto.Unmarshal(s.Spec, spec); err != nil {
		return nil, err
	}
	sum := sha256.New()
	plan, columns := NewPlan(spec), Columns(spec)
	pinned := &bowrollv1.Provenance{ModelVersion: s.ModelVersion, CatalogRevision: s.CatalogRevision, RequestDigest: s.RequestDigest}
	out, err := newEncoder(format, columns, pinned, io.MultiWriter(w, sum))
	if err != nil {
		return nil, err
	}
	summary := &bowrollv1.SweepFileSummary{Pinned: pinned}
	for row := from.First; row < from.First+from.Count; {
		chunk := int64(row) / s.ChunkRows
		first := int(chunk * s.ChunkRows)
		block, err := d.part(ctx, s, chunk)
		if err != nil {
			return nil, err
		}
		to := min(first+block.Rows, from.First+from.Count)
		t := tableOf(spec, plan, columns, block, first, row-first, to-first)
		if err := out.write(t); err != nil {
			return nil, err
		}
		summary.RowCount += int32(t.rows)
		summary.RefusedCount += int32(t.refused)
		summary.GoesCount += int32(t.goes)
		row = to
	}
	if err := out.end(summary); err != nil {
		return nil, err
	}
	summary.Sha256 = hex.EncodeToString(sum.Sum(nil))
	return summary, nil
}

// part reads one part.
func (d *Desk) part(ctx context.Context, s store.Sweep, chunk int64) (*Block, error) {
	var found []store.SweepChunk
	err := d.store.View(ctx, s.Site, func(ctx context.Context, r store.Reader) (err error) {
		found, err = r.SweepChunks(ctx, s.ID, chunk, 1)
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(found) == 0 || found[0].Chunk != chunk {
		return nil, store.Errorf(store.Refused, "SWEEP_NOT_DONE", "rows %d to %d of sweep %s are not there (it is %s): ask for others, or wait",
			chunk*s.ChunkRows, min((chunk+1)*s.ChunkRows, s.Rows)-1, s.ID, s.State).With("sweep", s.ID)
	}
	return whole(ctx, d.results, keyOf(s, chunk), found[0].Sum)
}

// Done reports up to which row, from one on, all parts are done.
func (d *Desk) Done(ctx context.Context, s store.Sweep, from int64) (to int64, err error) {
	err = d.store.View(ctx, s.Site, func(ctx context.Context, r store.Reader) error {
		at := from / s.ChunkRows
		for {
			list, err := r.SweepChunks(ctx, s.ID, at, 1000)
			if err != nil {
				return err
			}
			for _, c := range list {
				if c.Chunk != at {
					list = nil
					break
				}
				at++
			}
			if len(list) == 0 {
				to = min(at*s.ChunkRows, s.Rows)
				return nil
			}
		}
	})
	return to, err
}

func newEncoder(format bowrollv1.SweepFormat, columns []*bowrollv1.SweepColumn, pinned *bowrollv1.Provenance, w io.Writer) (encoder, error) {
	switch format {
	case bowrollv1.SweepFormat_SWEEP_FORMAT_CSV:
		return newCSV(columns, w), nil
	case bowrollv1.SweepFormat_SWEEP_FORMAT_PARQUET:
		return newParquet(columns, pinned, w), nil
	}
	return &ndjson{w: w, pinned: pinned}, nil
}
