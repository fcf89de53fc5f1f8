package store

import "time"

// SweepState is where a sweep stands.
type SweepState string

// The states of a sweep.
const (
	// SweepQueued: kept; no part is done yet.
	SweepQueued SweepState = "queued"
	// SweepRunning: some parts are done.
	SweepRunning SweepState = "running"
	// SweepDone: every part is done.
	SweepDone SweepState = "done"
	// SweepCancelled: ended by a caller.
	SweepCancelled SweepState = "cancelled"
	// SweepFailed: it cannot go on.
	SweepFailed SweepState = "failed"
)

// Ended reports whether nothing will be computed any more.
func (s SweepState) Ended() bool {
	return s == SweepDone || s == SweepCancelled || s == SweepFailed
}

// Sweep is a sweep that is kept: what was asked and how far it is. Its results
// are not here: they lie beside the ledger, where their bulk is in nobody's way.
type Sweep struct {
	Site        string
	ID          string
	DisplayName string
	State       SweepState
	// Reason says why it was cancelled or failed.
	Reason string
	// Spec is what is computed, encoded. The store does not look inside.
	Spec []byte
	// ModelVersion, CatalogRevision and RequestDigest pin what it is computed with.
	ModelVersion    string
	CatalogRevision string
	RequestDigest   string

	// Rows is how many there are, ChunkRows how many of them one part has.
	Rows, ChunkRows int64
	Chunks          int64

	// What is done: parts, rows, rows refused, rows that may go, bytes kept and
	// processor time.
	ChunksDone, RowsDone, Refused, Goes, Bytes, CPUMicros int64

	CreateTime time.Time
	// StartTime is when its first part was done, EndTime when it ended.
	StartTime time.Time
	EndTime   time.Time
	// Version counts its changes of state, from 1.
	Version int64
}

// SweepChunk is one part of a sweep that is done.
type SweepChunk struct {
	Chunk int64
	// Rows, and of these the ones refused and the ones that may go.
	Rows, Refused, Goes int64
	// Bytes and Sum are the size and the SHA-256 of its results as kept.
	Bytes int64
	Sum   [32]byte
	// CPUMicros is the processor time it took.
	CPUMicros int64
}

// SweepFilter selects sweeps. Empty fields select all.
type SweepFilter struct {
	State SweepState
}
