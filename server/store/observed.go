package store

import "time"

// ObservedRun is what one launch really did. It is written once and never
// changed: a later record supersedes it.
type ObservedRun struct {
	Site string
	ID   string
	// AircraftType, Tail, Deck, Lot, Plan and Sortie are what runs are chosen by;
	// each may be empty.
	AircraftType string
	Tail         string
	Deck         string
	Lot          string
	Plan         string
	Sortie       string
	// LaunchTime orders runs.
	LaunchTime time.Time
	// Supersedes is the record that this one takes the place of; a record is
	// superseded once at most.
	Supersedes string
	// SupersededBy is set by the store when it is read.
	SupersededBy string
	// Actor is who recorded it.
	Actor string
	// ModelVersion and CatalogRevision are those of when it was recorded.
	ModelVersion    string
	CatalogRevision string
	// Body is the run as the caller encoded it. The store does not look inside.
	Body []byte

	CreateTime time.Time
}

// ObservedRunFilter selects runs. Empty fields select all.
type ObservedRunFilter struct {
	AircraftType string
	Tail         string
	Deck         string
	Lot          string
	Plan         string
	// Superseded includes records that others took the place of.
	Superseded bool
}

// CorrectionState is where a correction stands.
type CorrectionState string

// The states of a correction.
const (
	CorrectionProposed CorrectionState = "proposed"
	CorrectionAccepted CorrectionState = "accepted"
	CorrectionRejected CorrectionState = "rejected"
	CorrectionReverted CorrectionState = "reverted"
)

// Correction is a proposed correction of an aircraft type and what became of it.
// It is kept beside the catalog, under [Fleet], and never removed.
type Correction struct {
	ID           string
	State        CorrectionState
	AircraftType string
	// CatalogRevision is what it was fitted against.
	CatalogRevision string
	// Body is the correction as the caller encoded it. The store does not look
	// inside.
	Body []byte

	CreateTime time.Time
	UpdateTime time.Time
	// Seq numbers its states from 1.
	Seq int64
}
