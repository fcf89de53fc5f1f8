package store

import (
	"context"
	"time"
)

// Store is a durable store of sites. It is safe for use by many goroutines.
//
// All errors are, or wrap, an [*Error], whose class says what a caller may do:
//
//   - [NotFound]: what was named does not exist at this site.
//   - [Exists]: what was to be made exists already.
//   - [Refused]: the state of things forbids the change; asking again will not
//     help until something else has changed.
//   - [Changed]: somebody else changed it first; read again, then try again.
//   - [Reused]: the request id was used for a different request.
//   - [Invalid]: the arguments make no sense, whatever the state.
//   - [Unavailable]: it could not be done now. Where the error came from the
//     commit the outcome is unknown, and only the same request id settles it.
//   - [Full], [ReadOnly], [Corrupt], [Newer]: the store itself is unfit, and a
//     person has to look.
//
// A context that ends gives its own error; nothing was written then, except
// where the transaction was already being committed.
type Store interface {
	// Update runs change in one transaction on the data of site and returns its
	// result once it is durable. Changes of one site happen one after the other:
	// each sees the whole effect of those before it.
	//
	// Where request.ID is not empty the result is kept with the request's hash.
	// A request whose id is known is not run: the first result is returned with
	// replayed true, or [Reused] where method or hash differ.
	//
	// change may be run more than once, where a backend retries on conflict; it
	// must have no effect but through tx, and must not keep tx. An error from it
	// undoes everything it did and is returned as it is.
	Update(ctx context.Context, site string, request Request, change Change) (result []byte, replayed bool, err error)

	// View runs read on one consistent snapshot of the data of site. Everything
	// that was acknowledged before the call is in it.
	View(ctx context.Context, site string, read func(context.Context, Reader) error) error

	// Sites returns the ids of all sites that have a log, in order.
	Sites(ctx context.Context) ([]string, error)

	// Check reads the whole store and returns [Corrupt] where it is damaged.
	Check(ctx context.Context) error

	// Close ends the store after the changes under way. Later calls return
	// [Unavailable].
	Close() error
}

// Change is one change to the data of a site.
type Change func(ctx context.Context, tx Tx) (result []byte, err error)

// Backuper is implemented by stores that can copy themselves while in use.
type Backuper interface {
	// Backup writes a complete copy to a new file at path. It refuses to write
	// over an existing file, and leaves none behind where it fails.
	Backup(ctx context.Context, path string) error
}

// Request identifies one request of a caller.
type Request struct {
	// ID is the caller's id of the request; empty where repeats need no answer.
	ID string
	// Method is the name of the procedure that was asked for.
	Method string
	// Hash is the hash over the request's meaning, its id left out.
	Hash [32]byte
	// Time is when the request came in.
	Time time.Time
}

// Reader reads the data of one site. Lists are in the order of their keys.
type Reader interface {
	// Site returns the site that this transaction is bound to.
	Site() string
	// Head returns the number and hash of the last entry of the site's log; 0
	// and zeros where it has none.
	Head(ctx context.Context) (Head, error)
	// Replica reports whether the log was brought in from the site itself, which
	// alone may change its stock.
	Replica(ctx context.Context) (bool, error)

	// Lot returns one lot, or [NotFound].
	Lot(ctx context.Context, id string) (Lot, error)
	// Lots returns up to limit lots with ids after after.
	Lots(ctx context.Context, after string, limit int) ([]Lot, error)

	// Units returns the units with these ids, in the order of their ids, or
	// [NotFound] naming those that do not exist.
	Units(ctx context.Context, ids []string) ([]Unit, error)
	// ListUnits returns up to limit units that match, with ids after after.
	ListUnits(ctx context.Context, filter UnitFilter, after string, limit int) ([]Unit, error)
	// FirstExpiring returns up to limit available units of a lot that are usable
	// until until at least, those that expire first before the others, then in
	// the order of their ids.
	FirstExpiring(ctx context.Context, lot string, until time.Time, limit int) ([]Unit, error)
	// CountUnits counts units by lot, type and state, in that order.
	CountUnits(ctx context.Context, filter UnitFilter) ([]Count, error)

	// Movements returns up to limit entries of the log that match, with numbers
	// after after, in the order of the log.
	Movements(ctx context.Context, filter MovementFilter, after int64, limit int) ([]Movement, error)

	// Readings returns up to limit readings of a lot that were taken after
	// after, in the order of time, then place.
	Readings(ctx context.Context, lot string, after time.Time, limit int) ([]Reading, error)

	// Reservations returns the reservations that match and are still open, in
	// the order of plan, sortie and unit.
	Reservations(ctx context.Context, filter ReservationFilter) ([]Reservation, error)

	// Plan returns one plan, or [NotFound].
	Plan(ctx context.Context, id string) (Plan, error)
	// Plans returns up to limit plans that match, with ids after after, without
	// their cycle and answer.
	Plans(ctx context.Context, filter PlanFilter, after string, limit int) ([]Plan, error)

	// CatalogRevision returns one revision of the catalog, the newest where
	// revision is empty, or [NotFound].
	CatalogRevision(ctx context.Context, revision string) (CatalogRevision, error)
	// CatalogRevisions returns up to limit revisions older than before (0 for
	// all), the newest first, without their bodies.
	CatalogRevisions(ctx context.Context, before int64, limit int) ([]CatalogRevision, error)

	// ObservedRun returns one run, or [NotFound].
	ObservedRun(ctx context.Context, id string) (ObservedRun, error)
	// ObservedRuns returns up to limit runs that match, with ids after after.
	ObservedRuns(ctx context.Context, filter ObservedRunFilter, after string, limit int) ([]ObservedRun, error)

	// Correction returns one correction, or [NotFound].
	Correction(ctx context.Context, id string) (Correction, error)
	// Corrections returns up to limit corrections of an aircraft type, of all
	// where it is empty, with ids after after.
	Corrections(ctx context.Context, aircraftType, after string, limit int) ([]Correction, error)

	// Sweep returns one sweep, or [NotFound].
	Sweep(ctx context.Context, id string) (Sweep, error)
	// Sweeps returns up to limit sweeps that match, with ids after after, without
	// what was asked.
	Sweeps(ctx context.Context, filter SweepFilter, after string, limit int) ([]Sweep, error)
	// SweepChunks returns up to limit parts of a sweep that are done, from the part
	// numbered from on, in their order.
	SweepChunks(ctx context.Context, id string, from int64, limit int) ([]SweepChunk, error)
}

// Tx reads and writes the data of one site. Writers that replace a row name
// the log entry that they replace it under; where the row was changed since,
// they return [Changed]. After any error but [NotFound] the transaction can only
// be given up: a change returns that error.
type Tx interface {
	Reader

	// MakeReplica says that the log of a site, still empty, is to be brought in
	// from the site itself; [Refused] where it has entries of its own.
	MakeReplica(ctx context.Context) error

	// Append appends entries to the log. Their numbers must follow the head;
	// [Changed] where they do not.
	Append(ctx context.Context, movements []Movement) error

	// PutLot inserts a lot where was is 0 ([Exists] where it is there already),
	// and otherwise replaces the one last changed by entry was.
	PutLot(ctx context.Context, lot Lot, was int64) error
	// InsertUnits inserts units, or [Exists] naming the first that is there already.
	InsertUnits(ctx context.Context, units []Unit) error
	// ReplaceUnits replaces units; was[i] is the entry that last changed units[i].
	ReplaceUnits(ctx context.Context, units []Unit, was []int64) error

	// OpenReservations inserts reservations. The schema permits one open
	// reservation of a unit; [Changed] where it has one.
	OpenReservations(ctx context.Context, reservations []Reservation) error
	// CloseReservations closes the open reservations of units under entry seqs[i].
	CloseReservations(ctx context.Context, units []string, seqs []int64) error

	// InsertReadings inserts readings that are not there yet, and returns how
	// many were new; [Refused] where one of the same lot, place and time has
	// other values.
	InsertReadings(ctx context.Context, readings []Reading) (int, error)

	// PutPlan inserts a plan where was is 0 ([Exists] where it is there already),
	// and otherwise replaces the one last changed by entry was.
	PutPlan(ctx context.Context, plan Plan, was int64) error

	// InsertCatalogRevision inserts a revision and returns it with its sequence
	// number; one that is already there is returned as it is.
	InsertCatalogRevision(ctx context.Context, revision CatalogRevision) (CatalogRevision, error)

	// InsertObservedRun inserts a run: [Exists] where it is there already,
	// [NotFound] where the one that it supersedes is not, and [Changed] where
	// another took the place of that already.
	InsertObservedRun(ctx context.Context, run ObservedRun) error

	// PutCorrection inserts a correction where was is 0 ([Exists] where it is there
	// already), and otherwise replaces the state numbered was.
	PutCorrection(ctx context.Context, correction Correction, was int64) error

	// PutSweep inserts a sweep where was is 0 ([Exists] where it is there already),
	// and otherwise replaces the state of the one whose version was was.
	PutSweep(ctx context.Context, sweep Sweep, was int64) error
	// DeleteSweep removes the sweep whose version was was, and its parts.
	DeleteSweep(ctx context.Context, id string, was int64) error
	// FinishChunk records that a part of a sweep is done and counts it. A part that
	// was recorded before changes nothing and is not first.
	FinishChunk(ctx context.Context, id string, chunk SweepChunk) (first bool, err error)

	// Native returns the transaction as the database's own library has it, for a
	// job queue over the same database to insert into: a *sql.Tx over SQLite, a
	// pgx.Tx over PostgreSQL.
	Native() any
}
