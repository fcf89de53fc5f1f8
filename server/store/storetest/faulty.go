package storetest

import (
	"context"
	"time"

	"bowroll/server/store"
)

// Faulty is a store whose transactions fail at their k-th call.
type Faulty struct {
	store.Store
	// At is the call that fails, counted from 1 over all transactions; 0 for none.
	At int
	// Fail, where set, is done at that call instead of answering an error.
	Fail func() error
	// Calls counts the calls made.
	Calls int
}

// ErrFault is what a call that fails returns.
var ErrFault = store.Errorf(store.Unavailable, "FAULT", "the disk says no")

// Update runs a change whose calls are counted.
func (f *Faulty) Update(ctx context.Context, site string, request store.Request, change store.Change) ([]byte, bool, error) {
	return f.Store.Update(ctx, site, request, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		return change(ctx, &faultyTx{Tx: tx, f: f})
	})
}

// call counts one call and returns the fault where it is the one to fail.
func (f *Faulty) call() error {
	f.Calls++
	if f.Calls != f.At {
		return nil
	}
	if f.Fail != nil {
		return f.Fail()
	}
	return ErrFault
}

type faultyTx struct {
	store.Tx
	f *Faulty
}

// through makes a call unless it is the one that fails.
func through[T any](f *Faulty, call func() (T, error)) (T, error) {
	if err := f.call(); err != nil {
		var none T
		return none, err
	}
	return call()
}

func (t *faultyTx) Head(ctx context.Context) (store.Head, error) {
	return through(t.f, func() (store.Head, error) { return t.Tx.Head(ctx) })
}

func (t *faultyTx) Replica(ctx context.Context) (bool, error) {
	return through(t.f, func() (bool, error) { return t.Tx.Replica(ctx) })
}

func (t *faultyTx) Lot(ctx context.Context, id string) (store.Lot, error) {
	return through(t.f, func() (store.Lot, error) { return t.Tx.Lot(ctx, id) })
}

func (t *faultyTx) Units(ctx context.Context, ids []string) ([]store.Unit, error) {
	return through(t.f, func() ([]store.Unit, error) { return t.Tx.Units(ctx, ids) })
}

func (t *faultyTx) ListUnits(ctx context.Context, filter store.UnitFilter, after string, limit int) ([]store.Unit, error) {
	return through(t.f, func() ([]store.Unit, error) { return t.Tx.ListUnits(ctx, filter, after, limit) })
}

func (t *faultyTx) FirstExpiring(ctx context.Context, lot string, until time.Time, limit int) ([]store.Unit, error) {
	return through(t.f, func() ([]store.Unit, error) { return t.Tx.FirstExpiring(ctx, lot, until, limit) })
}

func (t *faultyTx) CountUnits(ctx context.Context, filter store.UnitFilter) ([]store.Count, error) {
	return through(t.f, func() ([]store.Count, error) { return t.Tx.CountUnits(ctx, filter) })
}

func (t *faultyTx) Reservations(ctx context.Context, filter store.ReservationFilter) ([]store.Reservation, error) {
	return through(t.f, func() ([]store.Reservation, error) { return t.Tx.Reservations(ctx, filter) })
}

func (t *faultyTx) Plan(ctx context.Context, id string) (store.Plan, error) {
	return through(t.f, func() (store.Plan, error) { return t.Tx.Plan(ctx, id) })
}

func (t *faultyTx) InsertReadings(ctx context.Context, readings []store.Reading) (int, error) {
	return through(t.f, func() (int, error) { return t.Tx.InsertReadings(ctx, readings) })
}

// write makes a call that has no answer but its error.
func (t *faultyTx) write(call func() error) error {
	_, err := through(t.f, func() (struct{}, error) { return struct{}{}, call() })
	return err
}

func (t *faultyTx) Append(ctx context.Context, movements []store.Movement) error {
	return t.write(func() error { return t.Tx.Append(ctx, movements) })
}

func (t *faultyTx) PutLot(ctx context.Context, lot store.Lot, was int64) error {
	return t.write(func() error { return t.Tx.PutLot(ctx, lot, was) })
}

func (t *faultyTx) InsertUnits(ctx context.Context, units []store.Unit) error {
	return t.write(func() error { return t.Tx.InsertUnits(ctx, units) })
}

func (t *faultyTx) ReplaceUnits(ctx context.Context, units []store.Unit, was []int64) error {
	return t.write(func() error { return t.Tx.ReplaceUnits(ctx, units, was) })
}

func (t *faultyTx) OpenReservations(ctx context.Context, reservations []store.Reservation) error {
	return t.write(func() error { return t.Tx.OpenReservations(ctx, reservations) })
}

func (t *faultyTx) CloseReservations(ctx context.Context, units []string, seqs []int64) error {
	return t.write(func() error { return t.Tx.CloseReservations(ctx, units, seqs) })
}

func (t *faultyTx) PutPlan(ctx context.Context, plan store.Plan, was int64) error {
	return t.write(func() error { return t.Tx.PutPlan(ctx, plan, was) })
}
