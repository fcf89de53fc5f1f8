package storetest

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// Model runs random lists of commands against a store and against a model of
// it in a few maps, and compares every answer and the whole stock. Each list is
// run on a site of its own; rapid's flags say how many there are.
func Model(t *testing.T, tester Tester) {
	s := tester.New(t)
	rapid.Check(t, func(rt *rapid.T) {
		m := &model{bench: newBench(t, s), units: map[string]*modelUnit{}, plans: map[string]*modelPlan{}, suspended: map[string]bool{}}
		for i, lot := range modelLots {
			units := serials(fmt.Sprintf("v%d", i), 5)
			m.stock(boosters(lot, 90), units)
			for _, unit := range units {
				m.units[unit] = &modelUnit{lot: lot, state: store.Available}
			}
		}
		rt.Repeat(map[string]func(*rapid.T){
			"":        m.compare,
			"receive": m.receive,
			"step":    m.step,
			"onward":  m.onward,
			"further": m.onward,
			"order":   m.order,
			"save":    m.save,
			"confirm": m.confirmPlan,
			"cancel":  m.cancel,
			"scrub":   m.scrub,
			"suspend": m.suspend,
			"expire":  m.expire,
		})
	})
	if err := s.Check(context.Background()); err != nil {
		t.Errorf("after all: %v", err)
	}
}

var modelLots = []string{"lot-a", "lot-b"}

// model is what the store should hold.
type model struct {
	*bench
	units     map[string]*modelUnit
	plans     map[string]*modelPlan
	suspended map[string]bool
}

type modelUnit struct {
	lot, plan, sortie string
	state             store.State
	until             time.Time
}

type modelPlan struct {
	state   store.PlanState
	sorties []modelSortie
}

type modelSortie struct {
	lot      string
	count    int
	scrubbed bool
}

// agree checks that an answer is what the model expects.
func agree(rt *rapid.T, what string, err error, want bool) {
	if (err == nil) != want {
		rt.Fatalf("%s: got %v, the model expects success %v", what, err, want)
	}
	switch store.ClassOf(err) {
	case store.Internal, store.Corrupt:
		if err != nil {
			rt.Fatalf("%s: a refusal that is a fault of the program: %v", what, err)
		}
	}
}

func (m *model) receive(rt *rapid.T) {
	lot := rapid.SampledFrom(modelLots).Draw(rt, "lot")
	ids := rapid.SliceOfNDistinct(rapid.Map(rapid.IntRange(1, 20), func(i int) string { return fmt.Sprintf("u-%02d", i) }), 1, 4, rapid.ID).Draw(rt, "units")
	fresh := true
	for _, id := range ids {
		fresh = fresh && m.units[id] == nil
	}
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ReceiveUnits(ctx, lot, ids, "mag-1", "delivery")
		return err
	})
	agree(rt, "receive", err, fresh)
	if fresh {
		for _, id := range ids {
			m.units[id] = &modelUnit{lot: lot, state: store.Received}
		}
	}
}

// step takes any event of any unit.
func (m *model) step(rt *rapid.T) {
	id := rapid.SampledFrom(slices.Sorted(maps.Keys(m.units))).Draw(rt, "unit")
	events := store.EventsFrom(m.units[id].state)
	if rapid.Bool().Draw(rt, "any event") {
		events = store.Events()
	}
	m.take(rt, id, rapid.SampledFrom(events).Draw(rt, "event"))
}

// wayToUse is the event that takes a unit a step nearer to use.
var wayToUse = map[store.State][]store.Event{
	store.Received: {store.Inspect}, store.Returned: {store.Inspect}, store.Inspected: {store.Accept},
	store.Reserved: {store.Issue}, store.Issued: {store.Fit}, store.Fitted: {store.Arm, store.Return},
	store.Armed: {store.Expend, store.Misfire, store.HangUp, store.Return}, store.Misfired: {store.Quarantine},
	store.HungUp: {store.Quarantine}, store.Quarantined: {store.Clear, store.Condemn}, store.Lost: {store.Find},
}

// onward takes a unit that is on its way a step nearer to use, which walks that
// choose among all events seldom do.
func (m *model) onward(rt *rapid.T) {
	var moving []string
	for _, id := range slices.Sorted(maps.Keys(m.units)) {
		if len(wayToUse[m.units[id].state]) > 0 {
			moving = append(moving, id)
		}
	}
	if len(moving) == 0 {
		return
	}
	id := rapid.SampledFrom(moving).Draw(rt, "unit")
	m.take(rt, id, rapid.SampledFrom(wayToUse[m.units[id].state]).Draw(rt, "event"))
}

// take takes one event of one unit and expects what the model says of it.
func (m *model) take(rt *rapid.T, id string, event store.Event) {
	u := m.units[id]
	authority := rapid.SampledFrom([]string{"", "ordnance officer"}).Draw(rt, "authority")
	to, want := store.Next(u.state, event)
	switch event {
	case store.Receive, store.Reserve, store.Release, store.TimeOut, store.FitIgniter, store.RemoveIgniter:
		want = false // of plans, or of units with a separate igniter
	case store.Issue, store.Fit, store.Arm:
		want = want && !m.suspended[u.lot]
	case store.Clear:
		want = want && authority != ""
	case store.Quarantine:
		// The waiting time of this type is not known.
		want = want && (u.state != store.Misfired || authority != "")
	}
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.Take(ctx, []ledger.Step{{Unit: id, Event: event, Place: "mag-2", Reason: "drawn", Authority: authority}})
		return err
	})
	agree(rt, string(event)+" of "+string(u.state), err, want)
	if want {
		m.set(u, to)
	}
}

func (m *model) set(u *modelUnit, to store.State) {
	u.state = to
	if !to.Held() {
		u.plan, u.sortie, u.until = "", "", time.Time{}
	}
}

// order saves a plan that is new and confirms it.
func (m *model) order(rt *rapid.T) {
	id := fmt.Sprintf("q-%d", len(m.plans))
	m.savePlan(rt, id)
	m.confirmOne(rt, id, m.plans[id])
}

func (m *model) save(rt *rapid.T) {
	m.savePlan(rt, rapid.SampledFrom([]string{"p-1", "p-2", "p-3", "p-4"}).Draw(rt, "plan"))
}

func (m *model) savePlan(rt *rapid.T, id string) {
	plan := store.Plan{ID: id}
	want := &modelPlan{state: store.Draft}
	for i := range rapid.IntRange(1, 2).Draw(rt, "sorties") {
		s := modelSortie{lot: rapid.SampledFrom(modelLots).Draw(rt, "lot"), count: rapid.IntRange(1, 3).Draw(rt, "count")}
		want.sorties = append(want.sorties, s)
		plan.Sorties = append(plan.Sorties, store.Sortie{ID: fmt.Sprintf("s-%d", i), LaunchTime: m.now.Add(time.Hour), Draws: []store.Draw{{Lot: s.lot, Count: s.count}}})
	}
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.SavePlan(ctx, plan)
		return err
	})
	agree(rt, "save", err, m.plans[id] == nil)
	if err == nil {
		m.plans[id] = want
	}
}

func (m *model) drawPlan(rt *rapid.T) (string, *modelPlan) {
	if len(m.plans) == 0 {
		return "", nil
	}
	id := rapid.SampledFrom(slices.Sorted(maps.Keys(m.plans))).Draw(rt, "plan")
	return id, m.plans[id]
}

func (m *model) confirmPlan(rt *rapid.T) {
	if id, plan := m.drawPlan(rt); plan != nil {
		m.confirmOne(rt, id, plan)
	}
}

// confirmOne expects, for each draw in turn, the first free units by id: all
// units of a lot expire together here.
func (m *model) confirmOne(rt *rapid.T, id string, plan *modelPlan) {
	hold := m.now.Add(time.Duration(rapid.IntRange(1, 5).Draw(rt, "hours")) * time.Hour)
	if plan.state == store.Draft {
		m.lapse()
	}
	taken := map[string]modelUnit{}
	want := plan.state == store.Draft
	for i, s := range plan.sorties {
		if m.suspended[s.lot] {
			want = false
		}
		left := s.count
		for _, unit := range slices.Sorted(maps.Keys(m.units)) {
			u := m.units[unit]
			if _, gone := taken[unit]; left > 0 && !gone && u.lot == s.lot && u.state == store.Available {
				taken[unit] = modelUnit{lot: u.lot, state: store.Reserved, plan: id, sortie: fmt.Sprintf("s-%d", i), until: hold}
				left--
			}
		}
		want = want && left == 0
	}
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		// What ran out is seen to first, whatever becomes of the plan.
		if plan.state == store.Draft {
			if _, err := book.ExpireReservations(ctx); err != nil {
				return err
			}
			if err := book.Close(ctx); err != nil {
				return err
			}
		}
		return nil
	})
	agree(rt, "expire", err, true)
	err = m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.Confirm(ctx, id, 0, hold)
		return err
	})
	agree(rt, "confirm", err, want)
	if want {
		plan.state = store.Confirmed
		for unit, u := range taken {
			*m.units[unit] = u
		}
	}
}

// held reports whether any unit that a plan holds is reserved, and whether any is out.
func (m *model) held(plan, sortie string) (reserved, out bool) {
	for _, u := range m.units {
		if u.plan == plan && (sortie == "" || u.sortie == sortie) {
			reserved = reserved || u.state == store.Reserved
			out = out || u.state != store.Reserved
		}
	}
	return reserved, out
}

func (m *model) release(plan, sortie string) {
	for _, u := range m.units {
		if u.plan == plan && (sortie == "" || u.sortie == sortie) {
			m.set(u, store.Available)
		}
	}
}

func (m *model) cancel(rt *rapid.T) {
	id, plan := m.drawPlan(rt)
	if plan == nil {
		return
	}
	_, out := m.held(id, "")
	want := (plan.state == store.Draft || plan.state == store.Confirmed) && !out
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.CancelPlan(ctx, id, 0, "weather")
		return err
	})
	agree(rt, "cancel", err, want)
	if want {
		plan.state = store.Cancelled
		m.release(id, "")
	}
}

func (m *model) scrub(rt *rapid.T) {
	id, plan := m.drawPlan(rt)
	if plan == nil {
		return
	}
	i := rapid.IntRange(0, len(plan.sorties)-1).Draw(rt, "sortie")
	sortie := fmt.Sprintf("s-%d", i)
	_, out := m.held(id, sortie)
	want := plan.state == store.Confirmed && !plan.sorties[i].scrubbed && !out
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ScrubSortie(ctx, id, sortie, "engine")
		return err
	})
	agree(rt, "scrub", err, want)
	if want {
		plan.sorties[i].scrubbed = true
		m.release(id, sortie)
		if !slices.ContainsFunc(plan.sorties, func(s modelSortie) bool { return !s.scrubbed }) {
			plan.state = store.Closed
		}
	}
}

func (m *model) suspend(rt *rapid.T) {
	lot := rapid.SampledFrom(modelLots).Draw(rt, "lot")
	lift := rapid.Bool().Draw(rt, "lift")
	err := m.try(func(ctx context.Context, book *ledger.Book) (err error) {
		if lift {
			_, err = book.LiftSuspension(ctx, lot, "tested", "ordnance officer")
		} else {
			_, _, err = book.SuspendLot(ctx, lot, "a bad batch", "")
		}
		return err
	})
	agree(rt, "suspend", err, m.suspended[lot] == lift)
	m.suspended[lot] = !lift
}

// lapse is what the clock does to reservations.
func (m *model) lapse() {
	touched := map[string]bool{}
	for _, u := range m.units {
		if u.state == store.Reserved && u.until.Before(m.now) {
			touched[u.plan] = true
			m.set(u, store.Available)
		}
	}
	for id := range touched {
		if reserved, out := m.held(id, ""); !reserved && !out {
			m.plans[id].state = store.Expired
		}
	}
}

func (m *model) expire(rt *rapid.T) {
	m.now = m.now.Add(time.Duration(rapid.IntRange(0, 180).Draw(rt, "minutes")) * time.Minute)
	err := m.try(func(ctx context.Context, book *ledger.Book) error {
		_, err := book.ExpireReservations(ctx)
		return err
	})
	agree(rt, "expire", err, true)
	m.lapse()
}

// compare holds the whole stock of the site against the model.
func (m *model) compare(rt *rapid.T) {
	m.view(func(ctx context.Context, r store.Reader) error {
		units, err := r.ListUnits(ctx, store.UnitFilter{}, "", 1000)
		if err != nil {
			return err
		}
		if len(units) != len(m.units) {
			rt.Fatalf("%d units, the model has %d", len(units), len(m.units))
		}
		open := map[string]string{}
		held, err := r.Reservations(ctx, store.ReservationFilter{})
		if err != nil {
			return err
		}
		for _, one := range held {
			open[one.Unit] = one.Plan + "/" + one.Sortie
		}
		received := map[string]int{}
		for _, u := range units {
			want := m.units[u.ID]
			received[u.Lot]++
			if u.State != want.state || u.Plan != want.plan || u.Sortie != want.sortie || !u.Until.Equal(want.until) {
				rt.Fatalf("%+v\nthe model has %+v", u, *want)
			}
			promised := ""
			if u.State.Held() {
				promised = u.Plan + "/" + u.Sortie
			}
			if open[u.ID] != promised {
				rt.Fatalf("unit %s is promised to %q, its reservation says %q", u.ID, promised, open[u.ID])
			}
		}
		for _, id := range modelLots {
			lot, err := r.Lot(ctx, id)
			if err != nil {
				return err
			}
			if lot.ReceivedCount != received[id] || (lot.Suspended != "") != m.suspended[id] {
				rt.Fatalf("lot %s: received %d, its units are %d; suspended %q", id, lot.ReceivedCount, received[id], lot.Suspended)
			}
		}
		for id, want := range m.plans {
			plan, err := r.Plan(ctx, id)
			if err != nil {
				return err
			}
			if plan.State != want.state {
				rt.Fatalf("plan %s is %s, the model has %s", id, plan.State, want.state)
			}
		}
		return nil
	})
}
