package store

import "time"

// Unit is one serial-numbered unit. Its id is unique at the site, whatever its
// lot, and it is in one place.
type Unit struct {
	Site string
	ID   string
	Lot  string
	// State is where it stands in its life.
	State State
	// Place is where it is: a magazine, a store room, a spot, an aircraft.
	Place string
	// UsableUntil is the instant after which it may not be used: the lot's, or
	// earlier where its exposure shortened it.
	UsableUntil time.Time
	// Cause says why it was quarantined, or how it ended.
	Cause string
	// Igniter is the serial of the igniter fitted to it; empty where none is.
	Igniter string
	// Plan, Sortie and Until are the reservation it is held under; empty
	// unless its state is one of those held.
	Plan   string
	Sortie string
	Until  time.Time
	// IssueTime is when it was handed out, the start of an igniter's time out
	// of its pack; zero where it was not.
	IssueTime time.Time
	// WaitUntil is when a unit that misfired may be approached; zero where the
	// waiting time of its type is unknown or no wait runs.
	WaitUntil time.Time

	CreateTime time.Time
	UpdateTime time.Time
	// Seq is the entry of the log that last changed it.
	Seq int64
}

// UnitFilter selects units. Empty fields select all.
type UnitFilter struct {
	Lot    string
	State  State
	Place  string
	Plan   string
	Sortie string
}

// Count is how many units of a lot are in a state.
type Count struct {
	Lot   string
	Kind  Kind
	Type  string
	State State
	Count int
}

// Reservation is a unit promised to a sortie of a plan. A unit has one open
// reservation at most; the schema sees to it.
type Reservation struct {
	Unit   string
	Plan   string
	Sortie string
	// Until is when the promise lapses if the unit was not issued by then.
	Until time.Time
	// Seq is the entry that opened it.
	Seq int64
}

// ReservationFilter selects open reservations. Empty fields select all.
type ReservationFilter struct {
	Plan   string
	Sortie string
	// Lot selects reservations of the units of one lot.
	Lot string
	// Lapsed selects reservations of units not yet issued whose Until is before
	// this instant.
	Lapsed time.Time
}
