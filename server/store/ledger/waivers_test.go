package ledger_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// tailwind is a waiver of the first sortie of the plan that primed confirms.
func tailwind(until time.Time) store.Waiver {
	return store.Waiver{Sortie: "heron-1", Caution: "tailwind", Text: "A tailwind of 2 m/s.", Authority: "flying officer", Reason: "dry deck", Until: until}
}

func (s *site) waive(w store.Waiver) error {
	return s.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.RecordWaiver(ctx, "dawn", w, []string{"no-brake-data", "tailwind"})
		return err
	})
}

func (s *site) revoke(caution, reason string) error {
	return s.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.RevokeWaiver(ctx, "dawn", "heron-1", caution, reason)
		return err
	})
}

func (s *site) card(until time.Time) error {
	return s.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.IssueCard(ctx, "dawn", "heron-1", until, []byte("box"))
		return err
	})
}

func (s *site) dawn() (plan store.Plan) {
	s.t.Helper()
	if err := s.store.View(context.Background(), "tern", func(ctx context.Context, r store.Reader) (err error) {
		plan, err = r.Plan(ctx, "dawn")
		return err
	}); err != nil {
		s.t.Fatal(err)
	}
	return plan
}

// A waiver without a name, a reason or a time to come is none, nor is one of what
// the launch does not raise: each is said, and all of them at once.
func TestWaiverWithoutANameIsNone(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	before := len(s.log())
	err := s.waive(store.Waiver{Sortie: "heron-1", Caution: "run-too-long", Authority: " \t", Reason: "", Until: dawn})
	var faults store.Errors
	if !errors.As(err, &faults) || !store.Is(err, store.Invalid) {
		t.Fatalf("%v", err)
	}
	var fields []string
	for _, fault := range faults {
		fields = append(fields, fault.Field)
	}
	if want := []string{"caution", "authority", "reason", "until_time"}; !slices.Equal(fields, want) {
		t.Errorf("faults of %v, want %v", fields, want)
	}
	if !strings.Contains(err.Error(), "it raises no-brake-data, tailwind") {
		t.Errorf("%v does not name what the launch raises", err)
	}
	ghost := tailwind(dawn.Add(time.Hour))
	ghost.Sortie = "heron-9"
	refused(t, s.waive(ghost), store.NotFound, "SORTIE_NOT_FOUND")
	refused(t, s.revoke("tailwind", "in error"), store.Refused, "NO_WAIVER_IN_FORCE")
	if after := len(s.log()); after != before {
		t.Errorf("%d entries were written", after-before)
	}
}

// A waiver is one at a time, ends by itself, and a later one stands beside it.
func TestWaiverEnds(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	if err := s.waive(tailwind(dawn.Add(time.Hour))); err != nil {
		t.Fatal(err)
	}
	refused(t, s.waive(tailwind(dawn.Add(2*time.Hour))), store.Refused, "WAIVER_IN_FORCE")
	s.now = dawn.Add(time.Hour)
	refused(t, s.revoke("tailwind", "in error"), store.Refused, "NO_WAIVER_IN_FORCE")
	if err := s.waive(tailwind(dawn.Add(2 * time.Hour))); err != nil {
		t.Fatal(err)
	}
	if w := s.dawn().Waivers; len(w) != 2 || w[0].InForce(s.now) || !w[1].InForce(s.now) {
		t.Errorf("%+v", w)
	}
}

// A card ends with the first waiver that it says, and is void when one is revoked;
// a waiver that no card says, and one that ended before it, void nothing.
func TestCardHoldsNoLongerThanItsWaivers(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	if err := s.waive(tailwind(dawn.Add(time.Hour))); err != nil {
		t.Fatal(err)
	}
	err := s.card(dawn.Add(2 * time.Hour))
	refused(t, err, store.Refused, "CARD_OUTLIVES_WAIVER")
	if !strings.Contains(err.Error(), "ends 2031-05-04T05:00:00Z") {
		t.Errorf("%v does not say when", err)
	}
	if err := s.card(dawn.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	later := tailwind(dawn.Add(3 * time.Hour))
	later.Caution = "no-brake-data"
	if err := s.waive(later); err != nil {
		t.Fatal(err)
	}
	if err := s.revoke("no-brake-data", "the net is down"); err != nil {
		t.Fatal(err)
	}
	if got := s.dawn().Sorties[0]; got.State != store.SortieCard {
		t.Errorf("a card that does not say the waiver is %s: %v", got.State, got.Void)
	}
	refused(t, s.revoke("tailwind", " "), store.Invalid, "REASON_MISSING")
	if err := s.revoke("tailwind", "rain"); err != nil {
		t.Fatal(err)
	}
	got := s.dawn()
	if got.Sorties[0].State != store.SortieVoid || !slices.Equal(got.Sorties[0].Void, []string{"the waiver of tailwind by flying officer was revoked: rain"}) {
		t.Errorf("%+v", got.Sorties[0])
	}
	if w := got.Waivers[0]; w.Card != 1 || w.RevokeReason != "rain" || w.RevokedBy != "armament chief" {
		t.Errorf("%+v", w)
	}
	if err := s.card(dawn.Add(2 * time.Hour)); err != nil {
		t.Errorf("a card without waivers: %v", err)
	}
}

// A waiver lets nothing through that is refused without it.
func TestWaiverPermitsNothing(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	if err := s.waive(tailwind(dawn.Add(time.Hour))); err != nil {
		t.Fatal(err)
	}
	s.mustTake(step(store.Issue, "u-1"), step(store.Issue, "g-1"), step(store.Fit, "u-1"))
	early := fitIgniter("u-1", "g-1")
	early.AtLaunchPoint = false
	refused(t, s.take(early), store.Refused, "IGNITER_TOO_EARLY")
	s.must(func(ctx context.Context, book *ledger.Book) error {
		_, _, err := book.SuspendLot(ctx, "lot-b", "a letter", "")
		return err
	})
	refused(t, s.card(dawn.Add(time.Hour)), store.Refused, "LOT_BARRED")
}

// What is over is not waived any more.
func TestWaiverOfWhatIsOver(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	s.must(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.CancelPlan(ctx, "dawn", 0, "fog")
		return err
	})
	refused(t, s.waive(tailwind(dawn.Add(time.Hour))), store.Refused, "PLAN_STATE")
	refused(t, s.revoke("tailwind", "fog"), store.Refused, "PLAN_STATE")
}

// A plan is not made to grow without end.
func TestPlanKeepsSoManyWaivers(t *testing.T) {
	s := newSite(t)
	s.primed(nil, nil)
	s.must(func(ctx context.Context, book *ledger.Book) error {
		for i := range ledger.MostWaivers {
			if _, err := book.RecordWaiver(ctx, "dawn", tailwind(dawn.Add(time.Hour)), []string{"tailwind"}); err != nil {
				return err
			}
			if i == ledger.MostWaivers-1 {
				break
			}
			if _, err := book.RevokeWaiver(ctx, "dawn", "heron-1", "tailwind", "in error"); err != nil {
				return err
			}
		}
		return nil
	})
	w := tailwind(dawn.Add(time.Hour))
	w.Caution = "no-brake-data"
	refused(t, s.waive(w), store.Refused, "WAIVERS_FULL")
}
