package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// act is one change of the scenario.
type act struct {
	name string
	run  func(ctx context.Context, book *ledger.Book) error
}

// scenario is a morning in which everything that the ledger can do is done.
func scenario() []act {
	steps := func(event store.Event, units ...string) []ledger.Step {
		var list []ledger.Step
		for _, unit := range units {
			list = append(list, ledger.Step{Unit: unit, Event: event, Reason: "as ordered"})
		}
		return list
	}
	take := func(lists ...[]ledger.Step) func(context.Context, *ledger.Book) error {
		return func(ctx context.Context, book *ledger.Book) error {
			var all []ledger.Step
			for _, list := range lists {
				all = append(all, list...)
			}
			_, err := book.Take(ctx, all)
			return err
		}
	}
	wait := 900.0
	primed := boosters("lot-a", 90)
	primed.IgniterType, primed.MisfireWaitS = "spark", &wait
	igniters := store.Lot{ID: "lot-i", Kind: store.Igniter, Type: "spark", ExpireTime: dawn.AddDate(0, 0, 60)}
	u, g := serials("u", 6), serials("g", 6)
	plan := store.Plan{ID: "dawn", Sorties: []store.Sortie{
		{ID: "heron-1", LaunchTime: dawn.Add(time.Hour), Draws: []store.Draw{{Lot: "lot-a", Count: 2}}},
		{ID: "heron-2", LaunchTime: dawn.Add(2 * time.Hour), Draws: []store.Draw{{Lot: "lot-a", Count: 2}}},
	}}
	return []act{
		{"receive boosters", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.ReceiveLot(ctx, primed, u, "mag-1", "delivery")
			return err
		}},
		{"receive igniters", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.ReceiveLot(ctx, igniters, g, "mag-2", "delivery")
			return err
		}},
		{"accept", take(steps(store.Inspect, u...), steps(store.Accept, u...), steps(store.Inspect, g...), steps(store.Accept, g...))},
		{"save", func(ctx context.Context, book *ledger.Book) error { _, err := book.SavePlan(ctx, plan); return err }},
		{"confirm", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.Confirm(ctx, "dawn", 0, dawn.Add(3*time.Hour))
			return err
		}},
		{"waive", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.RecordWaiver(ctx, "dawn", store.Waiver{
				Sortie: "heron-1", Caution: "tailwind", Text: "A tailwind of 2 m/s.", Authority: "flying officer", Reason: "one launch, dry deck", Until: dawn.Add(time.Hour),
			}, []string{"tailwind"})
			if err != nil {
				return err
			}
			_, err = book.RecordWaiver(ctx, "dawn", store.Waiver{
				Sortie: "heron-2", Caution: "tailwind", Text: "A tailwind of 2 m/s.", Authority: "flying officer", Reason: "in error", Until: dawn.Add(2 * time.Hour),
			}, []string{"tailwind"})
			return err
		}},
		{"card", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.IssueCard(ctx, "dawn", "heron-1", dawn.Add(time.Hour), []byte("box"))
			return err
		}},
		{"revoke", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.RevokeWaiver(ctx, "dawn", "heron-2", "tailwind", "the other launch was meant")
			return err
		}},
		{"issue and fit", take(steps(store.Issue, "u-0001", "u-0002", "g-0001", "g-0002"), steps(store.Fit, "u-0001", "u-0002"))},
		{"igniters and arm", take(
			[]ledger.Step{
				{Unit: "u-0001", Event: store.FitIgniter, Igniter: "g-0001", AtLaunchPoint: true, Reason: "last"},
				{Unit: "u-0002", Event: store.FitIgniter, Igniter: "g-0002", AtLaunchPoint: true, Reason: "last"},
			}, steps(store.Arm, "u-0001", "u-0002"))},
		{"launch", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.RecordLaunch(ctx, "dawn", "heron-1", dawn.Add(time.Hour), append(steps(store.Expend, "u-0001"), steps(store.Misfire, "u-0002")...))
			return err
		}},
		{"excursion", func(ctx context.Context, book *ledger.Book) error {
			_, _, err := book.RecordReadings(ctx, "lot-i", []store.Reading{{Time: dawn, TemperatureC: 20}})
			if err != nil {
				return err
			}
			_, _, err = book.RecordReadings(ctx, "lot-a", []store.Reading{{Time: dawn, TemperatureC: 44}})
			return err
		}},
		{"count", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.CountStock(ctx, "lot-a", "", []string{"u-0005"}, "weekly")
			return err
		}},
		{"scrub", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.ScrubSortie(ctx, "dawn", "heron-2", "no units left")
			return err
		}},
		{"suspend", func(ctx context.Context, book *ledger.Book) error {
			_, _, err := book.SuspendLot(ctx, "lot-a", "a misfire", "")
			return err
		}},
	}
}

// FailEachCall runs the scenario, and every change of it once for each call to
// the store that it makes, with that call failing: the change must return the
// fault and leave everything as it was.
func FailEachCall(t *testing.T, tester Tester) {
	b := newBench(t, tester.New(t))
	failed := 0
	for _, act := range scenario() {
		for k := 1; ; k++ {
			faulty := &Faulty{Store: b.Store, At: k}
			before := b.everything()
			err := (&bench{Store: faulty, t: t, site: b.site, now: b.now}).try(act.run)
			if faulty.Calls < k {
				if err != nil {
					t.Fatalf("%s without a fault: %v", act.name, err)
				}
				break
			}
			failed++
			if !errors.Is(err, ErrFault) {
				t.Fatalf("%s, call %d fails: got %v", act.name, k, err)
			}
			if after := b.everything(); after != before {
				t.Fatalf("%s, call %d fails: something was left behind\n%s\n%s", act.name, k, before, after)
			}
		}
	}
	t.Logf("%d changes, %d calls failed in turn, nothing left behind", len(scenario()), failed)
	if err := b.Check(context.Background()); err != nil {
		t.Error(err)
	}
}

// everything is all that a site holds, as text.
func (b *bench) everything() string {
	b.t.Helper()
	text := ""
	b.view(func(ctx context.Context, r store.Reader) error {
		head, err := r.Head(ctx)
		if err != nil {
			return err
		}
		lots, err := r.Lots(ctx, "", 100)
		if err != nil {
			return err
		}
		units, err := r.ListUnits(ctx, store.UnitFilter{}, "", 1000)
		if err != nil {
			return err
		}
		held, err := r.Reservations(ctx, store.ReservationFilter{})
		if err != nil {
			return err
		}
		plans, err := r.Plans(ctx, store.PlanFilter{}, "", 100)
		if err != nil {
			return err
		}
		text = fmt.Sprintf("%+v %d lots %+v\n%+v\n%+v", head, len(lots), units, held, plans)
		for _, lot := range lots {
			readings, err := r.Readings(ctx, lot.ID, time.Time{}, 1000)
			if err != nil {
				return err
			}
			text += fmt.Sprintf("\n%s %s %d %d readings", lot.ID, lot.Suspended, lot.ReceivedCount, len(readings))
		}
		return nil
	})
	return text
}
