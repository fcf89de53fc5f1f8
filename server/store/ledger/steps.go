package ledger

import (
	"context"
	"time"

	"bowroll/server/store"
)

// Step is one event of one unit, as somebody asks for it.
type Step struct {
	Unit  string
	Event store.Event
	// Place is where it is afterwards; empty leaves it where it is.
	Place string
	// Reason says why. Every step has one.
	Reason string
	// Authority is the person by whose authority it is done; needed to clear a
	// unit, and where a rule is waived.
	Authority string
	// Igniter is the serial of the igniter, for fit_igniter.
	Igniter string
	// AtLaunchPoint says that the aircraft stands at its launch point, for
	// fit_igniter.
	AtLaunchPoint bool
}

// planned are the events that only a plan brings about.
var planned = map[store.Event]string{
	store.Receive: "receive the unit into a lot",
	store.Reserve: "confirm a plan",
	store.Release: "cancel the plan or scrub the sortie",
	store.TimeOut: "wait for the reservation to run out, or cancel the plan",
}

// Take takes steps, in order, all or none. Steps of one unit may follow one
// another. All faults are found before any is refused.
func (b *Book) Take(ctx context.Context, steps []Step) ([]store.Unit, error) {
	if len(steps) > MostUnits {
		return nil, store.Errorf(store.Invalid, "STEPS_TOO_MANY", "%d steps at once: at most %d, send the rest in another request", len(steps), MostUnits).At("steps")
	}
	ids := make([]string, 0, len(steps))
	for _, step := range steps {
		ids = append(ids, step.Unit)
		if step.Igniter != "" {
			ids = append(ids, step.Igniter)
		}
	}
	if err := b.load(ctx, ids); err != nil {
		return nil, err
	}
	if err := b.loadIgniters(ctx, steps); err != nil {
		return nil, err
	}
	var faults store.Errors
	for i, step := range steps {
		fault, err := b.take(ctx, step)
		if err != nil {
			return nil, err
		}
		if fault != nil {
			if fault.Field == "" {
				fault.Field = "unit"
			}
			faults = append(faults, fault.At(at("steps", i)+"."+fault.Field))
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	units := make([]store.Unit, len(steps))
	for i, step := range steps {
		units[i] = b.unit(step.Unit)
	}
	return units, nil
}

// loadIgniters brings the igniters that units carry into the book.
func (b *Book) loadIgniters(ctx context.Context, steps []Step) error {
	var ids []string
	for _, step := range steps {
		if igniter := b.unit(step.Unit).Igniter; igniter != "" {
			ids = append(ids, igniter)
		}
	}
	return b.load(ctx, ids)
}

// take takes one step, or says why it cannot be taken.
func (b *Book) take(ctx context.Context, step Step) (*store.Error, error) {
	unit := b.unit(step.Unit)
	lot, err := b.lot(ctx, unit.Lot)
	if err != nil {
		return nil, err
	}
	if instead, ok := planned[step.Event]; ok {
		return store.Errorf(store.Invalid, "EVENT_OF_PLAN", "%s is not a step of its own: %s", step.Event, instead).At("event"), nil
	}
	if fault := b.permits(unit, lot, step); fault != nil {
		return fault, nil
	}
	if step.Event == store.FitIgniter {
		fault, err := b.permitsIgniter(ctx, unit, lot, step)
		if fault != nil || err != nil {
			return fault, err
		}
	}
	m := store.Movement{
		Event: step.Event, Unit: step.Unit, Place: step.Place, Reason: step.Reason, Authority: step.Authority,
		Igniter: step.Igniter,
	}
	if step.Event == store.RemoveIgniter {
		m.Igniter = unit.Igniter
	}
	if step.Event == store.Misfire && lot.MisfireWaitS != nil {
		m.Until = b.by.Time.Add(seconds(*lot.MisfireWaitS))
	}
	igniter := unit.Igniter
	if step.Event == store.FitIgniter {
		igniter = step.Igniter
	}
	after, err := b.changeUnit(m)
	if err != nil {
		return nil, err
	}
	if igniter != "" {
		if err := b.follow(igniter, step); err != nil {
			return nil, err
		}
	}
	if unit.State.Held() && !after.State.Held() && takenAway[step.Event] {
		_, err = b.void(ctx, unit.Plan, unit.Sortie, "unit "+unit.ID+" was taken away: "+string(step.Event)+", "+step.Reason)
	}
	return nil, err
}

// takenAway are the events after which a sortie lacks a unit that it was
// promised.
var takenAway = map[store.Event]bool{
	store.Return: true, store.Drop: true, store.Wet: true, store.Overexpose: true, store.Quarantine: true, store.Lose: true,
}

// following says what happens to an igniter when something happens to the unit
// it is fitted to.
var following = map[store.Event]store.Event{
	store.FitIgniter: store.Fit, store.RemoveIgniter: store.Return, store.Arm: store.Arm,
	store.Expend: store.Expend, store.HangUp: store.Expend, store.Misfire: store.Misfire,
	store.Drop: store.Quarantine, store.Wet: store.Quarantine, store.Overexpose: store.Quarantine,
	store.Quarantine: store.Quarantine, store.Lose: store.Lose,
}

// follow takes the igniter of a unit along.
func (b *Book) follow(igniter string, step Step) error {
	event, ok := following[step.Event]
	if !ok {
		return nil
	}
	if _, may := store.Next(b.unit(igniter).State, event); !may {
		return nil
	}
	_, err := b.changeUnit(store.Movement{
		Event: event, Unit: igniter, Place: step.Place, Authority: step.Authority,
		Reason: "goes with unit " + step.Unit + ": " + step.Reason,
	})
	return err
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
