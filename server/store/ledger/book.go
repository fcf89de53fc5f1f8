// Package ledger holds the rules of a site's stock and of the plans that draw
// on it: which step may be taken when, what follows from it, and what the log
// says of it. It works on a [store.Tx] and knows no clock: who acts and when
// comes in with [By].
package ledger

import (
	"context"
	"encoding/json"
	"sort"
	"time"

	"bowroll/server/store"
)

// By is who acts, when, and for which request.
type By struct {
	// Actor is the person or program that acts, as known to the service.
	Actor string
	// Time is the wall clock of the site.
	Time time.Time
	// Request is the id of the request; empty where it has none.
	Request string
}

// Book gathers the entries of one change and what they do to units, lots and
// plans, and writes all of it at the end. Until [Book.Close] nothing is
// written; after an error the book can only be dropped.
type Book struct {
	tx   store.Tx
	by   By
	head store.Head

	entries []store.Movement
	units   map[string]*entry[store.Unit]
	lots    map[string]*entry[store.Lot]
	plans   map[string]*entry[store.Plan]
	opened  []store.Reservation
	closed  []string
	closeAt []int64
}

// entry is a row as it will be and the entry of the log it was read under, 0
// for a new one.
type entry[T any] struct {
	now   T
	was   int64
	dirty bool
}

// Open opens the book of the site that tx is bound to.
func Open(ctx context.Context, tx store.Tx, by By) (*Book, error) {
	if by.Actor == "" {
		return nil, store.Errorf(store.Invalid, "ACTOR_MISSING", "every entry of the log names who acted").At("actor")
	}
	if by.Time.IsZero() {
		return nil, store.Errorf(store.Invalid, "TIME_MISSING", "every entry of the log has a time").At("time")
	}
	by.Time = store.FromMicros(store.Micros(by.Time))
	if replica, err := tx.Replica(ctx); err != nil {
		return nil, err
	} else if replica {
		return nil, store.Errorf(store.Refused, "SITE_ELSEWHERE",
			"the stock of %s belongs to the site itself, and this is a copy of its log: ask there", tx.Site()).With("site", tx.Site())
	}
	head, err := tx.Head(ctx)
	if err != nil {
		return nil, err
	}
	return &Book{
		tx: tx, by: by, head: head,
		units: map[string]*entry[store.Unit]{},
		lots:  map[string]*entry[store.Lot]{},
		plans: map[string]*entry[store.Plan]{},
	}, nil
}

// Now returns the time of the book.
func (b *Book) Now() time.Time { return b.by.Time }

// record adds an entry to the log and returns it as it will stand there.
func (b *Book) record(m store.Movement) store.Movement {
	m.Site, m.Time, m.Actor, m.Request = b.tx.Site(), b.by.Time, b.by.Actor, b.by.Request
	m.Until = store.FromMicros(store.Micros(m.Until))
	one := []store.Movement{m}
	b.head = store.Chain(b.head, one)
	b.entries = append(b.entries, one[0])
	return one[0]
}

// lot returns a lot as it stands in the book.
func (b *Book) lot(ctx context.Context, id string) (store.Lot, error) {
	if e, ok := b.lots[id]; ok {
		return e.now, nil
	}
	lot, err := b.tx.Lot(ctx, id)
	if err != nil {
		return lot, err
	}
	b.lots[id] = &entry[store.Lot]{now: lot, was: lot.Seq}
	return lot, nil
}

// changeLot applies an entry to a lot.
func (b *Book) changeLot(m store.Movement) error {
	e := b.lots[m.Lot]
	if e == nil {
		e = &entry[store.Lot]{}
		b.lots[m.Lot] = e
	}
	lot, err := e.now.After(m)
	if err != nil {
		return err
	}
	e.now, e.dirty = lot, true
	return nil
}

// load brings units into the book, so that [Book.unit] finds them.
func (b *Book) load(ctx context.Context, ids []string) error {
	missing := make([]string, 0, len(ids))
	for _, id := range ids {
		if _, ok := b.units[id]; !ok {
			missing = append(missing, id)
		}
	}
	units, err := b.tx.Units(ctx, missing)
	if err != nil {
		return err
	}
	b.adopt(units)
	return nil
}

// adopt brings units that were read otherwise into the book.
func (b *Book) adopt(units []store.Unit) {
	for _, unit := range units {
		if _, ok := b.units[unit.ID]; !ok {
			b.units[unit.ID] = &entry[store.Unit]{now: unit, was: unit.Seq}
		}
	}
}

// unit returns a unit that was loaded, as it stands in the book.
func (b *Book) unit(id string) store.Unit { return b.units[id].now }

// changeUnit records an event of a unit that was loaded and applies it. The
// caller has checked that it may happen.
func (b *Book) changeUnit(m store.Movement) (store.Unit, error) {
	e := b.units[m.Unit]
	if e == nil {
		e = &entry[store.Unit]{}
		b.units[m.Unit] = e
	}
	before := e.now
	m.From = before.State
	m.To, _ = store.Next(before.State, m.Event)
	if m.Lot == "" {
		m.Lot = before.Lot
	}
	if m.Plan == "" && m.Event != store.Receive {
		m.Plan, m.Sortie = before.Plan, before.Sortie
	}
	m = b.record(m)
	after, err := before.After(m)
	if err != nil {
		return before, err
	}
	e.now, e.dirty = after, true
	switch {
	case !before.State.Held() && after.State.Held():
		b.opened = append(b.opened, store.Reservation{
			Unit: after.ID, Plan: after.Plan, Sortie: after.Sortie, Until: after.Until, Seq: m.Seq,
		})
	case before.State.Held() && !after.State.Held():
		b.closed, b.closeAt = append(b.closed, after.ID), append(b.closeAt, m.Seq)
	}
	return after, nil
}

// plan returns a plan as it stands in the book.
func (b *Book) plan(ctx context.Context, id string) (*store.Plan, error) {
	if e, ok := b.plans[id]; ok {
		return &e.now, nil
	}
	plan, err := b.tx.Plan(ctx, id)
	if err != nil {
		return nil, err
	}
	b.plans[id] = &entry[store.Plan]{now: plan, was: plan.Seq}
	return &b.plans[id].now, nil
}

// changedPlan says that entry m changed a plan of the book.
func (b *Book) changedPlan(m store.Movement) {
	e := b.plans[m.Plan]
	e.dirty = true
	e.now.Seq, e.now.UpdateTime = m.Seq, m.Time
}

// Close writes everything.
func (b *Book) Close(ctx context.Context) error { return b.flush(ctx) }

// flush writes what has gathered, so that queries of the transaction see it.
func (b *Book) flush(ctx context.Context) error {
	if err := b.tx.Append(ctx, b.entries); err != nil {
		return err
	}
	for _, id := range sortedKeys(b.lots) {
		if e := b.lots[id]; e.dirty {
			if err := b.tx.PutLot(ctx, e.now, e.was); err != nil {
				return err
			}
		}
	}
	for _, id := range sortedKeys(b.plans) {
		if e := b.plans[id]; e.dirty {
			if err := b.tx.PutPlan(ctx, e.now, e.was); err != nil {
				return err
			}
		}
	}
	if err := b.closeUnits(ctx); err != nil {
		return err
	}
	if err := b.tx.CloseReservations(ctx, b.closed, b.closeAt); err != nil {
		return err
	}
	if err := b.tx.OpenReservations(ctx, b.opened); err != nil {
		return err
	}
	b.entries, b.opened, b.closed, b.closeAt = nil, nil, nil, nil
	for _, e := range b.units {
		e.was, e.dirty = e.now.Seq, false
	}
	for _, e := range b.lots {
		e.was, e.dirty = e.now.Seq, false
	}
	for _, e := range b.plans {
		e.was, e.dirty = e.now.Seq, false
	}
	return nil
}

func (b *Book) closeUnits(ctx context.Context) error {
	var (
		fresh, changed []store.Unit
		was            []int64
	)
	for _, id := range sortedKeys(b.units) {
		switch e := b.units[id]; {
		case !e.dirty:
		case e.was == 0:
			fresh = append(fresh, e.now)
		default:
			changed, was = append(changed, e.now), append(was, e.was)
		}
	}
	if err := b.tx.InsertUnits(ctx, fresh); err != nil {
		return err
	}
	return b.tx.ReplaceUnits(ctx, changed, was)
}

func sortedKeys[T any](m map[string]T) []string {
	keys := make([]string, 0, len(m))
	for key := range m {
		keys = append(keys, key)
	}
	sort.Strings(keys)
	return keys
}

// detail encodes what belongs to an entry beside its fields. The order of keys
// is that of the struct.
func detail(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic("ledger: a detail that JSON cannot hold: " + err.Error())
	}
	return b
}

// Plan returns a plan as it stands in the book.
func (b *Book) Plan(ctx context.Context, id string) (store.Plan, error) {
	plan, err := b.plan(ctx, id)
	if err != nil {
		return store.Plan{}, err
	}
	return *plan, nil
}
