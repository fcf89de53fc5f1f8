package rpc

import (
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
	"bowroll/server/sweep"
)

// sweepStates are the store's words for the states of the contract.
var sweepStates = map[bowrollv1.SweepState]store.SweepState{
	bowrollv1.SweepState_SWEEP_STATE_QUEUED:    store.SweepQueued,
	bowrollv1.SweepState_SWEEP_STATE_RUNNING:   store.SweepRunning,
	bowrollv1.SweepState_SWEEP_STATE_DONE:      store.SweepDone,
	bowrollv1.SweepState_SWEEP_STATE_CANCELLED: store.SweepCancelled,
	bowrollv1.SweepState_SWEEP_STATE_FAILED:    store.SweepFailed,
}

// message is a sweep without what was asked.
func (s *Sweeps) message(kept store.Sweep) *bowrollv1.Sweep {
	m := &bowrollv1.Sweep{
		Name: "sites/" + kept.Site + "/sweeps/" + kept.ID, DisplayName: kept.DisplayName, Reason: kept.Reason,
		RowCount: int32(kept.Rows), ChunkRowCount: int32(kept.ChunkRows), ChunkCount: int32(kept.Chunks),
		ChunkDoneCount: int32(kept.ChunksDone), RowDoneCount: int32(kept.RowsDone), RefusedCount: int32(kept.Refused), GoesCount: int32(kept.Goes),
		ResultBytes: float64(kept.Bytes), CpuS: float64(kept.CPUMicros) / 1e6,
		Pinned:     &bowrollv1.Provenance{ModelVersion: kept.ModelVersion, CatalogRevision: kept.CatalogRevision, RequestDigest: kept.RequestDigest},
		CreateTime: stamp(kept.CreateTime), StartTime: stamp(kept.StartTime), EndTime: stamp(kept.EndTime), Etag: etag(kept.Version),
	}
	for state, word := range sweepStates {
		if word == kept.State {
			m.State = state
		}
	}
	// The first part's own time is not known, so that the rate is that of the rest.
	if gone := s.now().Sub(kept.StartTime).Seconds(); kept.State == store.SweepRunning && kept.ChunksDone > 1 && gone > 0 {
		m.LeftS = proto.Float64(gone / float64(kept.ChunksDone-1) * float64(kept.Chunks-kept.ChunksDone))
	}
	return m
}

// whole is a sweep with what was asked, as the answer to a request.
func (s *Sweeps) whole(kept store.Sweep, r proto.Message) (*bowrollv1.Sweep, error) {
	m := s.message(kept)
	m.Spec = &bowrollv1.SweepSpec{}
	if err := proto.Unmarshal(kept.Spec, m.Spec); err != nil {
		return nil, &store.Error{Class: store.Corrupt, Reason: "ROW_UNREADABLE", Text: "sweep " + kept.ID + " cannot be read", Err: err}
	}
	m.Columns = sweep.Columns(m.Spec)
	m.Provenance = provenance(s.snapshot, r)
	return m, nil
}
