package ledger_test

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
	"bowroll/server/store/sqlite"
)

// dawn is when the invented day begins.
var dawn = time.Date(2031, 5, 4, 4, 0, 0, 0, time.UTC)

// site is one site's ledger and a clock that the test moves.
type site struct {
	t     testing.TB
	store store.Store
	now   time.Time
}

func newSite(t testing.TB) *site {
	s, err := sqlite.Open(context.Background(), filepath.Join(t.TempDir(), "bowroll.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Check(context.Background()); err != nil {
			t.Errorf("after the test: %v", err)
		}
		s.Close()
	})
	return &site{t: t, store: s, now: dawn}
}

func (s *site) try(run func(context.Context, *ledger.Book) error) error {
	_, _, err := s.store.Update(context.Background(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, ledger.By{Actor: "armament chief", Time: s.now})
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

func (s *site) must(run func(context.Context, *ledger.Book) error) {
	s.t.Helper()
	if err := s.try(run); err != nil {
		s.t.Fatal(err)
	}
}

func (s *site) take(steps ...ledger.Step) error {
	return s.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.Take(ctx, steps)
		return err
	})
}

func (s *site) mustTake(steps ...ledger.Step) {
	s.t.Helper()
	if err := s.take(steps...); err != nil {
		s.t.Fatal(err)
	}
}

func (s *site) unit(id string) (unit store.Unit) {
	s.t.Helper()
	if err := s.store.View(context.Background(), "tern", func(ctx context.Context, r store.Reader) error {
		units, err := r.Units(ctx, []string{id})
		if err == nil {
			unit = units[0]
		}
		return err
	}); err != nil {
		s.t.Fatal(err)
	}
	return unit
}

func step(event store.Event, unit string) ledger.Step {
	return ledger.Step{Unit: unit, Event: event, Reason: "as ordered"}
}

// primed receives units that need a separate igniter, igniters, and confirms a
// plan of one sortie that draws two of each.
func (s *site) primed(wait, outOfPack *float64) {
	s.t.Helper()
	s.must(func(ctx context.Context, book *ledger.Book) error {
		lot := store.Lot{ID: "lot-b", Kind: store.Booster, Type: "boosterTypes/bolt", IgniterType: "spark", MisfireWaitS: wait, ExpireTime: dawn.AddDate(0, 1, 0)}
		if _, err := book.ReceiveLot(ctx, lot, []string{"u-1", "u-2", "u-3"}, "mag-1", "delivery"); err != nil {
			return err
		}
		igniters := store.Lot{ID: "lot-i", Kind: store.Igniter, Type: "spark", OutOfPackS: outOfPack, ExpireTime: dawn.AddDate(0, 1, 0)}
		if _, err := book.ReceiveLot(ctx, igniters, []string{"g-1", "g-2", "g-3"}, "mag-2", "delivery"); err != nil {
			return err
		}
		var steps []ledger.Step
		for _, unit := range []string{"u-1", "u-2", "u-3", "g-1", "g-2", "g-3"} {
			steps = append(steps, step(store.Inspect, unit), step(store.Accept, unit))
		}
		if _, err := book.Take(ctx, steps); err != nil {
			return err
		}
		if _, err := book.SavePlan(ctx, store.Plan{ID: "dawn", Sorties: []store.Sortie{{
			ID: "heron-1", LaunchTime: dawn.Add(time.Hour), Draws: []store.Draw{{Lot: "lot-b", Count: 2}},
		}}}); err != nil {
			return err
		}
		return book.Close(ctx)
	})
	s.must(func(ctx context.Context, book *ledger.Book) error {
		plan, err := book.Confirm(ctx, "dawn", 0, dawn.Add(2*time.Hour))
		if err == nil && (len(plan.Sorties[0].Draws) != 2 || strings.Join(plan.Sorties[0].Draws[1].Units, " ") != "g-1 g-2") {
			s.t.Errorf("the igniters were not drawn: %+v", plan.Sorties[0].Draws)
		}
		return err
	})
}

// refused fails the test where err has not this class and reason.
func refused(t *testing.T, err error, class store.Class, reason string) {
	t.Helper()
	var one *store.Error
	if !errors.As(err, &one) || one.Class != class || one.Reason != reason {
		t.Errorf("got %v, want %s %s", err, class, reason)
	}
}

func fitIgniter(unit, igniter string) ledger.Step {
	return ledger.Step{Unit: unit, Event: store.FitIgniter, Igniter: igniter, AtLaunchPoint: true, Reason: "last of all"}
}

func TestIgnitersComeLastAndGoFirst(t *testing.T) {
	s := newSite(t)
	pack := 1800.0
	s.primed(nil, &pack)
	s.mustTake(step(store.Issue, "u-1"), step(store.Issue, "u-2"), step(store.Issue, "g-1"), step(store.Fit, "u-1"), step(store.Fit, "u-2"))
	refused(t, s.take(step(store.Arm, "u-1")), store.Refused, "IGNITER_MISSING")
	early := fitIgniter("u-1", "g-1")
	early.AtLaunchPoint = false
	refused(t, s.take(early), store.Refused, "IGNITER_TOO_EARLY")
	refused(t, s.take(fitIgniter("u-1", "g-2")), store.Refused, "IGNITER_NOT_ISSUED")
	refused(t, s.take(fitIgniter("u-1", "u-3")), store.Refused, "IGNITER_WRONG_TYPE")
	refused(t, s.take(fitIgniter("u-1", "g-9")), store.NotFound, "UNIT_NOT_FOUND")
	refused(t, s.take(step(store.Fit, "g-1")), store.Refused, "IGNITER_FOLLOWS")
	s.now = dawn.Add(31 * time.Minute)
	refused(t, s.take(fitIgniter("u-1", "g-1")), store.Refused, "IGNITER_OUT_OF_PACK")
	waived := fitIgniter("u-1", "g-1")
	waived.Authority = "ordnance officer"
	s.mustTake(waived, step(store.Arm, "u-1"))
	if g := s.unit("g-1"); g.State != store.Armed {
		t.Errorf("the igniter did not follow: %+v", g)
	}
	refused(t, s.take(step(store.Return, "u-1")), store.Refused, "IGNITER_FITTED")
	s.mustTake(step(store.RemoveIgniter, "u-1"), step(store.Return, "u-1"))
	if g, u := s.unit("g-1"), s.unit("u-1"); g.State != store.Returned || u.State != store.Returned || u.Igniter != "" || u.Plan != "" {
		t.Errorf("%+v\n%+v", g, u)
	}
}

func TestNobodyApproachesAMisfire(t *testing.T) {
	wait := 900.0
	for _, known := range []bool{true, false} {
		s := newSite(t)
		if known {
			s.primed(&wait, nil)
		} else {
			s.primed(nil, nil)
		}
		s.mustTake(step(store.Issue, "u-1"), step(store.Issue, "g-1"), step(store.Fit, "u-1"), fitIgniter("u-1", "g-1"), step(store.Arm, "u-1"), step(store.Misfire, "u-1"))
		if known {
			refused(t, s.take(step(store.Quarantine, "u-1")), store.Refused, "WAIT_RUNS")
			s.now = dawn.Add(15 * time.Minute)
		} else {
			s.now = dawn.Add(48 * time.Hour)
			refused(t, s.take(step(store.Quarantine, "u-1")), store.Refused, "WAIT_UNKNOWN")
		}
		ordered := step(store.Quarantine, "u-1")
		if !known {
			ordered.Authority = "ordnance officer"
		}
		s.mustTake(ordered)
		if u, g := s.unit("u-1"), s.unit("g-1"); u.State != store.Quarantined || g.State != store.Quarantined {
			t.Errorf("%+v\n%+v", u, g)
		}
		refused(t, s.take(step(store.Clear, "u-1")), store.Invalid, "AUTHORITY_MISSING")
	}
}

func TestWhatIsBarredComesNoNearerToUse(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	var voided []string
	s.must(func(ctx context.Context, book *ledger.Book) (err error) {
		_, voided, err = book.SuspendLot(ctx, "lot-b", "a letter", "")
		return err
	})
	if strings.Join(voided, " ") != "dawn/heron-1" {
		t.Errorf("voided %v", voided)
	}
	refused(t, s.take(step(store.Issue, "u-1")), store.Refused, "LOT_BARRED")
	refused(t, s.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.IssueCard(ctx, "dawn", "heron-1", dawn.Add(time.Hour), nil)
		return err
	}), store.Refused, "LOT_BARRED")
	// What leads away from use is always possible.
	s.mustTake(step(store.Drop, "u-1"))
	if err := s.store.View(context.Background(), "tern", func(ctx context.Context, r store.Reader) error {
		plan, err := r.Plan(ctx, "dawn")
		if sortie := plan.Sorties[0]; sortie.State != store.SortieVoid || len(sortie.Void) != 2 || !strings.Contains(sortie.Void[1], "u-1") {
			t.Errorf("the sortie does not say what it lacks: %+v", sortie)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	s.must(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.LiftSuspension(ctx, "lot-b", "tested", "ordnance officer")
		return err
	})
	refused(t, s.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.IssueCard(ctx, "dawn", "heron-1", dawn.Add(time.Hour), nil)
		return err
	}), store.Refused, "UNIT_NOT_HELD")
	s.now = dawn.AddDate(0, 2, 0)
	refused(t, s.take(step(store.Issue, "u-2")), store.Refused, "LOT_BARRED")
}

// Where a reservation has run out and nobody looked, confirming another plan
// sees the stock that came free.
func TestConfirmSeesWhatRanOut(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	s.must(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.SavePlan(ctx, store.Plan{ID: "dusk", Sorties: []store.Sortie{{
			ID: "heron-2", LaunchTime: dawn.Add(10 * time.Hour), Draws: []store.Draw{{Lot: "lot-b", Count: 3}},
		}}})
		return err
	})
	confirm := func() error {
		return s.try(func(ctx context.Context, book *ledger.Book) error {
			_, err := book.Confirm(ctx, "dusk", 0, s.now.Add(time.Hour))
			return err
		})
	}
	refused(t, confirm(), store.Changed, "STOCK_SHORT")
	s.now = dawn.Add(3 * time.Hour)
	if err := confirm(); err != nil {
		t.Error(err)
	}
	if err := s.store.View(context.Background(), "tern", func(ctx context.Context, r store.Reader) error {
		plan, err := r.Plan(ctx, "dawn")
		if plan.State != store.Expired || plan.Sorties[0].State != store.SortieVoid {
			t.Errorf("%+v", plan)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

func TestLostAndFound(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	s.mustTake(ledger.Step{Unit: "u-3", Event: store.Lose, Reason: "report 11"})
	s.mustTake(ledger.Step{Unit: "u-3", Event: store.Find, Reason: "behind the rack", Place: "mag-3"})
	if u := s.unit("u-3"); u.State != store.Quarantined || u.Place != "mag-3" {
		t.Errorf("%+v", u)
	}
	var d ledger.Difference
	s.must(func(ctx context.Context, book *ledger.Book) (err error) {
		d, err = book.CountStock(ctx, "lot-b", "", []string{"u-1", "u-1", "x-1"}, "weekly")
		return err
	})
	if d.Expected != 3 || d.Seen != 2 || strings.Join(d.Missing, " ") != "u-2 u-3" || strings.Join(d.Unknown, " ") != "x-1" {
		t.Errorf("%+v", d)
	}
}

func TestEveryEntryNamesWhoAndWhy(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	for i, by := range []ledger.By{{Time: dawn}, {Actor: "k"}} {
		_, _, err := s.store.Update(context.Background(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
			_, err := ledger.Open(ctx, tx, by)
			return nil, err
		})
		if !store.Is(err, store.Invalid) {
			t.Errorf("%d: %v", i, err)
		}
	}
	refused(t, s.take(ledger.Step{Unit: "u-3", Event: store.Move, Place: "mag-2"}), store.Invalid, "REASON_MISSING")
	refused(t, s.take(step(store.Move, "u-3")), store.Invalid, "PLACE_MISSING")
	refused(t, s.take(step(store.Release, "u-1")), store.Invalid, "EVENT_OF_PLAN")
}
