package ledger

import (
	"context"
	"strings"

	"bowroll/server/store"
)

// towardsUse are the events that bring a unit nearer to being fired: they are
// refused for what is suspended or past its date.
var towardsUse = map[store.Event]bool{
	store.Reserve: true, store.Issue: true, store.Fit: true, store.FitIgniter: true, store.Arm: true,
}

// permits says why a step may not be taken; nil where it may.
func (b *Book) permits(unit store.Unit, lot store.Lot, step Step) *store.Error {
	if _, ok := store.Next(unit.State, step.Event); !ok {
		return illegal(unit, step.Event)
	}
	if step.Reason == "" {
		return store.Errorf(store.Invalid, "REASON_MISSING", "say why: every step has a reason").At("reason")
	}
	if fault := ownStep(unit, lot, step.Event); fault != nil {
		return fault
	}
	if towardsUse[step.Event] {
		if fault := b.usable(unit, lot); fault != nil {
			return fault
		}
	}
	switch step.Event {
	case store.Clear:
		if step.Authority == "" {
			return store.Errorf(store.Invalid, "AUTHORITY_MISSING", "name the person by whose authority unit %s returns to use", unit.ID).At("authority")
		}
	case store.Return:
		if unit.Igniter != "" {
			return store.Errorf(store.Refused, "IGNITER_FITTED", "unit %s carries igniter %s: take it out first (remove_igniter)", unit.ID, unit.Igniter).
				With("unit", unit.ID).With("igniter", unit.Igniter)
		}
	case store.Arm:
		if lot.IgniterType != "" && unit.Igniter == "" {
			return store.Errorf(store.Refused, "IGNITER_MISSING", "unit %s has no igniter: fit one of type %s first (fit_igniter)", unit.ID, lot.IgniterType).
				With("unit", unit.ID)
		}
	case store.RemoveIgniter:
		if unit.Igniter == "" {
			return store.Errorf(store.Refused, "IGNITER_MISSING", "unit %s carries no igniter of its own", unit.ID).With("unit", unit.ID)
		}
	case store.Quarantine:
		return b.approach(unit, step)
	case store.Move:
		if step.Place == "" {
			return store.Errorf(store.Invalid, "PLACE_MISSING", "say where unit %s goes", unit.ID).At("place")
		}
	}
	return nil
}

// ownStep refuses a step of an igniter that is taken with the unit it is fitted
// to, or would be.
func ownStep(unit store.Unit, lot store.Lot, event store.Event) *store.Error {
	if lot.Kind != store.Igniter || event == store.Annotate {
		return nil
	}
	fitted := unit.State == store.Fitted || unit.State == store.Armed
	if fitted || event == store.Fit {
		return store.Errorf(store.Refused, "IGNITER_FOLLOWS", "%s is an igniter: it goes with the unit it is fitted to (fit_igniter, remove_igniter and the unit's own events)", unit.ID).
			With("unit", unit.ID)
	}
	return nil
}

// illegal is the refusal of an event that the state does not permit.
func illegal(unit store.Unit, event store.Event) *store.Error {
	var may []string
	for _, e := range store.EventsFrom(unit.State) {
		if _, ok := planned[e]; !ok {
			may = append(may, string(e))
		}
	}
	return store.Errorf(store.Refused, "STATE_FORBIDS", "unit %s is %s, and %s cannot follow; what can: %s",
		unit.ID, unit.State, event, strings.Join(may, ", ")).
		With("unit", unit.ID).With("state", string(unit.State)).With("event", string(event))
}

// usable says why a unit may not be brought nearer to use now.
func (b *Book) usable(unit store.Unit, lot store.Lot) *store.Error {
	if why := lot.Barred(b.by.Time); why != "" {
		return store.Errorf(store.Refused, "LOT_BARRED", "unit %s may not be used: lot %s is %s", unit.ID, lot.ID, why).
			With("unit", unit.ID).With("lot", lot.ID)
	}
	if b.by.Time.After(unit.UsableUntil) {
		return store.Errorf(store.Refused, "UNIT_EXPIRED", "unit %s was usable until %s", unit.ID, unit.UsableUntil.Format(rfc3339)).With("unit", unit.ID)
	}
	return nil
}

// approach says why nobody may go near a unit that misfired.
func (b *Book) approach(unit store.Unit, step Step) *store.Error {
	if unit.State != store.Misfired || step.Authority != "" {
		return nil
	}
	if unit.WaitUntil.IsZero() {
		return store.Errorf(store.Refused, "WAIT_UNKNOWN",
			"unit %s misfired and the waiting time of its type is not known: nobody may approach it without a named authority", unit.ID).With("unit", unit.ID)
	}
	if b.by.Time.Before(unit.WaitUntil) {
		return store.Errorf(store.Refused, "WAIT_RUNS", "unit %s misfired: nobody may approach it before %s", unit.ID, unit.WaitUntil.Format(rfc3339)).
			With("unit", unit.ID).With("wait_until", unit.WaitUntil.Format(rfc3339))
	}
	return nil
}

// permitsIgniter says why an igniter may not be fitted to a unit.
func (b *Book) permitsIgniter(ctx context.Context, unit store.Unit, lot store.Lot, step Step) (*store.Error, error) {
	if step.Igniter == "" {
		return store.Errorf(store.Invalid, "IGNITER_MISSING", "name the igniter by its serial").At("igniter"), nil
	}
	igniter := b.unit(step.Igniter)
	kept, err := b.lot(ctx, igniter.Lot)
	if err != nil {
		return nil, err
	}
	switch {
	case lot.IgniterType == "":
		return store.Errorf(store.Refused, "IGNITER_PART_OF_UNIT", "units of lot %s have their igniter built in", lot.ID), nil
	case unit.Igniter != "":
		return store.Errorf(store.Refused, "IGNITER_FITTED", "unit %s carries igniter %s already", unit.ID, unit.Igniter), nil
	case kept.Kind != store.Igniter || kept.Type != lot.IgniterType:
		return store.Errorf(store.Refused, "IGNITER_WRONG_TYPE", "%s is of type %s, and unit %s needs an igniter of type %s", igniter.ID, kept.Type, unit.ID, lot.IgniterType).At("igniter"), nil
	case igniter.State != store.Issued:
		return store.Errorf(store.Refused, "IGNITER_NOT_ISSUED", "igniter %s is %s: it has to be issued first", igniter.ID, igniter.State).At("igniter"), nil
	case !step.AtLaunchPoint && step.Authority == "":
		// No waiver of a caution (Book.RecordWaiver) stands in for the authority that
		// the step itself names: this is a refusal, and those are never waived.
		return store.Errorf(store.Refused, "IGNITER_TOO_EARLY",
			"igniters are fitted last, with the aircraft at its launch point: say that it is, or name the authority that waives it").At("at_launch_point"), nil
	}
	if fault := b.usable(igniter, kept); fault != nil {
		return fault.At("igniter"), nil
	}
	if kept.OutOfPackS != nil && step.Authority == "" {
		if end := igniter.IssueTime.Add(seconds(*kept.OutOfPackS)); b.by.Time.After(end) {
			return store.Errorf(store.Refused, "IGNITER_OUT_OF_PACK", "igniter %s has been out of its pack since %s, longer than its type permits",
				igniter.ID, igniter.IssueTime.Format(rfc3339)).At("igniter"), nil
		}
	}
	return nil, nil
}
