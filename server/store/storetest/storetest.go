// Package storetest is the suite that every backend of the store passes. A
// difference between two backends that it does not see is a gap in it.
package storetest

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// Tester makes stores of one backend.
type Tester interface {
	// New returns a store that is closed when the test ends. It may hold data of
	// other sites.
	New(t testing.TB) store.Store
}

// TesterFunc is a function as a [Tester].
type TesterFunc func(t testing.TB) store.Store

// New calls f.
func (f TesterFunc) New(t testing.TB) store.Store { return f(t) }

// Run runs the whole suite, each test on a site of its own.
func Run(t *testing.T, tester Tester) {
	s := tester.New(t)
	for _, test := range []struct {
		name string
		run  func(*testing.T, *bench)
	}{
		{"AnErrorLeavesNoTrace", errorLeavesNoTrace},
		{"APanicLeavesNoTrace", panicLeavesNoTrace},
		{"TheContextEnds", contextEnds},
		{"SitesAreApart", sitesAreApart},
		{"ReceiptSameAgain", receiptSameAgain},
		{"ReceiptOtherBody", receiptOtherBody},
		{"ReceiptOfAFailure", receiptOfAFailure},
		{"ReceiptConcurrent", receiptConcurrent},
		{"LotsPage", lotsPage},
		{"UnitsFilterAndPage", unitsFilterAndPage},
		{"UnitsMissingAreNamed", unitsMissing},
		{"ExistsNamesTheUnit", existsNamesTheUnit},
		{"FirstExpiringOrder", firstExpiringOrder},
		{"ReplaceNeedsTheEntry", replaceNeedsTheEntry},
		{"NoUnitIsPromisedTwice", noUnitPromisedTwice},
		{"TheLogHasNoForks", logHasNoForks},
		{"TheLogFolds", logFolds},
		{"ReadingsOnce", readingsOnce},
		{"PlansRoundTrip", plansRoundTrip},
		{"Waivers", waivers},
		{"CatalogRevisions", catalogRevisions},
		{"ObservedRuns", observedRuns},
		{"Corrections", corrections},
		{"Sweeps", sweeps},
		{"SnapshotsHold", snapshotsHold},
		{"AcknowledgedIsVisible", acknowledgedIsVisible},
		{"EveryTextComesBack", everyText},
		{"WritersOnOneRow", writersOnOneRow},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, newBench(t, s)) })
	}
	t.Run("Check", func(t *testing.T) {
		if err := s.Check(context.Background()); err != nil {
			t.Errorf("after the suite: %v", err)
		}
	})
	t.Run("Closed", func(t *testing.T) { closed(t, s) })
}

// bench is a store, a site of the test's own, and a clock that the test moves.
type bench struct {
	store.Store
	t    testing.TB
	site string
	now  time.Time
}

var sites atomic.Int64

// dawn is when the invented day of these tests begins.
var dawn = time.Date(2031, 5, 4, 4, 0, 0, 0, time.UTC)

func newBench(t testing.TB, s store.Store) *bench {
	site := fmt.Sprintf("s%d-%d", time.Now().UnixNano(), sites.Add(1))
	return &bench{Store: s, t: t, site: site, now: dawn}
}

func (b *bench) by() ledger.By { return ledger.By{Actor: "armament chief", Time: b.now} }

// change runs a change of the ledger that must succeed.
func (b *bench) change(run func(ctx context.Context, book *ledger.Book) error) {
	b.t.Helper()
	if err := b.try(run); err != nil {
		b.t.Fatalf("%v", err)
	}
}

// try runs a change of the ledger.
func (b *bench) try(run func(ctx context.Context, book *ledger.Book) error) error {
	_, _, err := b.Update(context.Background(), b.site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, b.by())
		if err != nil {
			return nil, err
		}
		if err := run(ctx, book); err != nil {
			return nil, err
		}
		return nil, book.Close(ctx)
	})
	return err
}

// view runs a read that must succeed.
func (b *bench) view(read func(ctx context.Context, r store.Reader) error) {
	b.t.Helper()
	if err := b.View(context.Background(), b.site, read); err != nil {
		b.t.Fatalf("%v", err)
	}
}

// boosters is a lot of boosters that expires days after dawn.
func boosters(id string, days int) store.Lot {
	least, greatest := 5.0, 40.0
	return store.Lot{
		ID: id, Kind: store.Booster, Type: "boosterTypes/bolt", ExpireTime: dawn.AddDate(0, 0, days),
		StowageLeastC: &least, StowageGreatestC: &greatest, ReadingGapS: 7200,
	}
}

// serials returns n serials with a prefix.
func serials(prefix string, n int) []string {
	list := make([]string, n)
	for i := range list {
		list[i] = fmt.Sprintf("%s-%04d", prefix, i+1)
	}
	return list
}

// stock receives a lot and makes its units available.
func (b *bench) stock(lot store.Lot, units []string) {
	b.t.Helper()
	b.change(func(ctx context.Context, book *ledger.Book) error {
		if _, err := book.ReceiveLot(ctx, lot, units, "mag-1", "delivery"); err != nil {
			return err
		}
		var steps []ledger.Step
		for _, event := range []store.Event{store.Inspect, store.Accept} {
			for _, unit := range units {
				steps = append(steps, ledger.Step{Unit: unit, Event: event, Reason: "arrival inspection"})
			}
		}
		_, err := book.Take(ctx, steps)
		return err
	})
}

// plan saves a plan whose sorties each draw count units from a lot.
func (b *bench) plan(id, lot string, count, sorties int) store.Plan {
	b.t.Helper()
	plan := store.Plan{ID: id, DisplayName: id, ModelVersion: "1.0.0", CatalogRevision: "sha256:0", RequestDigest: "sha256:1",
		Cycle: []byte("cycle"), Answer: []byte("answer")}
	for i := range sorties {
		plan.Sorties = append(plan.Sorties, store.Sortie{
			ID: fmt.Sprintf("heron-%d", i+1), LaunchTime: dawn.Add(time.Duration(60+i) * time.Minute),
			Draws: []store.Draw{{Lot: lot, Count: count}},
		})
	}
	b.change(func(ctx context.Context, book *ledger.Book) (err error) {
		plan, err = book.SavePlan(ctx, plan)
		return err
	})
	return plan
}

// confirm confirms a plan for two hours.
func (b *bench) confirm(id string) error {
	return b.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.Confirm(ctx, id, 0, b.now.Add(2*time.Hour))
		return err
	})
}

// unit returns a unit.
func (b *bench) unit(id string) (unit store.Unit) {
	b.t.Helper()
	b.view(func(ctx context.Context, r store.Reader) error {
		units, err := r.Units(ctx, []string{id})
		if err == nil {
			unit = units[0]
		}
		return err
	})
	return unit
}

// wantClass fails the test where err is not of a class.
func wantClass(t testing.TB, err error, class store.Class, words ...string) {
	t.Helper()
	if !store.Is(err, class) {
		t.Errorf("got %v (%s), want an error of class %s", err, store.ClassOf(err), class)
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q does not say %q", err, word)
		}
	}
}
