package ledger

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bowroll/server/store"
)

// sortie returns a sortie of a confirmed plan.
func (b *Book) sortie(ctx context.Context, id, sortie, done string) (*store.Plan, *store.Sortie, error) {
	plan, err := b.plan(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if plan.State != store.Confirmed {
		return nil, nil, planIs(plan, done)
	}
	for i := range plan.Sorties {
		if plan.Sorties[i].ID == sortie {
			return plan, &plan.Sorties[i], nil
		}
	}
	return nil, nil, store.Errorf(store.NotFound, "SORTIE_NOT_FOUND", "plan %s has no sortie %s", id, sortie).At("sortie").With("sortie", sortie)
}

// sortieIs is the refusal of a step that the state of a sortie does not permit.
func sortieIs(plan *store.Plan, sortie *store.Sortie, done string) *store.Error {
	return store.Errorf(store.Refused, "SORTIE_STATE", "sortie %s of plan %s is %s: it cannot be %s", sortie.ID, plan.ID, sortie.State, done).
		With("sortie", sortie.ID).With("state", string(sortie.State))
}

// IssueCard issues the launch card of a sortie, or issues it anew after it was
// void. All its units must be held for it and usable at the launch, and it ends
// with the first of the sortie's waivers that are in force, for it says them.
func (b *Book) IssueCard(ctx context.Context, id, name string, until time.Time, box []byte) (store.Plan, error) {
	plan, sortie, err := b.sortie(ctx, id, name, "carded")
	if err != nil {
		return store.Plan{}, err
	}
	if sortie.State == store.SortieLaunched || sortie.State == store.SortieScrubbed {
		return *plan, sortieIs(plan, sortie, "carded")
	}
	if !until.After(b.by.Time) {
		return *plan, store.Errorf(store.Invalid, "CARD_PAST", "a card until %s would be void already", until.UTC().Format(rfc3339)).At("until_time")
	}
	faults := waiverEnds(plan, sortie, until, b.by.Time)
	for _, draw := range sortie.Draws {
		if err := b.load(ctx, draw.Units); err != nil {
			return *plan, err
		}
		lot, err := b.lot(ctx, draw.Lot)
		if err != nil {
			return *plan, err
		}
		if why := lot.Barred(latest(sortie.LaunchTime, b.by.Time)); why != "" {
			faults = append(faults, store.Errorf(store.Refused, "LOT_BARRED", "lot %s is %s", lot.ID, why).With("lot", lot.ID))
		}
		for _, unit := range draw.Units {
			if u := b.unit(unit); u.Plan != id || u.Sortie != name {
				faults = append(faults, store.Errorf(store.Refused, "UNIT_NOT_HELD", "unit %s is %s and not held for this sortie any more: scrub it and plan anew", unit, u.State).With("unit", unit))
			}
		}
	}
	if len(faults) > 0 {
		return *plan, faults
	}
	sortie.State, sortie.Void, sortie.Box = store.SortieCard, nil, box
	sortie.Card++
	sortie.CardUntil = store.FromMicros(store.Micros(until))
	plan.PutWaiversOnCard(sortie, b.by.Time)
	b.changedPlan(b.record(store.Movement{
		Event: store.IssueCard, Plan: id, Sortie: name, Until: until, Reason: fmt.Sprintf("revision %d", sortie.Card),
		Detail: detail(store.CardDetail{Box: sum(box), Sides: slices.Concat([]byte{}, box)}),
	}))
	return *plan, nil
}

// void voids a sortie that has not launched, and reports whether this is the
// first reason for it in this book or before.
func (b *Book) void(ctx context.Context, id, name, reason string) (fresh bool, err error) {
	plan, err := b.plan(ctx, id)
	if err != nil {
		return false, err
	}
	for i := range plan.Sorties {
		sortie := &plan.Sorties[i]
		if sortie.ID != name || sortie.State == store.SortieLaunched || sortie.State == store.SortieScrubbed {
			continue
		}
		for _, known := range sortie.Void {
			if known == reason {
				return false, nil
			}
		}
		fresh = sortie.State != store.SortieVoid
		sortie.State, sortie.Void = store.SortieVoid, append(sortie.Void, reason)
		b.changedPlan(b.record(store.Movement{Event: store.VoidCard, Plan: id, Sortie: name, Reason: reason}))
	}
	return fresh, nil
}

// VoidCard voids the card of a sortie, e.g. because live inputs left its box.
func (b *Book) VoidCard(ctx context.Context, id, name string, reasons []string) (store.Plan, error) {
	plan, sortie, err := b.sortie(ctx, id, name, "voided")
	if err != nil {
		return store.Plan{}, err
	}
	if sortie.State == store.SortieLaunched || sortie.State == store.SortieScrubbed {
		return *plan, sortieIs(plan, sortie, "voided")
	}
	for _, reason := range reasons {
		if _, err := b.void(ctx, id, name, reason); err != nil {
			return *plan, err
		}
	}
	return *plan, nil
}

// RecordLaunch records that a sortie launched and what became of its units.
// Every unit of the sortie that is not an igniter has an outcome: expend,
// misfire, hang_up or return.
func (b *Book) RecordLaunch(ctx context.Context, id, name string, at time.Time, steps []Step) (store.Plan, error) {
	plan, sortie, err := b.sortie(ctx, id, name, "launched")
	if err != nil {
		return store.Plan{}, err
	}
	if sortie.State == store.SortieLaunched || sortie.State == store.SortieScrubbed {
		return *plan, sortieIs(plan, sortie, "launched")
	}
	if err := b.outcomes(ctx, sortie, steps); err != nil {
		return *plan, err
	}
	sortie.State, sortie.LaunchTime = store.SortieLaunched, store.FromMicros(store.Micros(at))
	b.changedPlan(b.record(store.Movement{Event: store.Launch, Plan: id, Sortie: name, Detail: detail(store.LaunchDetail{LaunchTime: sortie.LaunchTime})}))
	if _, err := b.Take(ctx, steps); err != nil {
		return *plan, err
	}
	return *plan, b.closePlan(plan)
}

// outcomes checks that steps say what became of each unit of a sortie, once.
func (b *Book) outcomes(ctx context.Context, sortie *store.Sortie, steps []Step) error {
	want := map[string]bool{}
	for _, draw := range sortie.Draws {
		lot, err := b.lot(ctx, draw.Lot)
		if err != nil {
			return err
		}
		if lot.Kind == store.Booster {
			for _, unit := range draw.Units {
				want[unit] = true
			}
		}
	}
	var faults store.Errors
	for i, step := range steps {
		switch step.Event {
		case store.Expend, store.Misfire, store.HangUp, store.Return:
		default:
			faults = append(faults, store.Errorf(store.Invalid, "OUTCOME_UNKNOWN", "%s is no outcome: expend, misfire, hang_up or return", step.Event).At(at("outcomes", i)+".event"))
		}
		if !want[step.Unit] {
			faults = append(faults, store.Errorf(store.Invalid, "UNIT_NOT_OF_SORTIE", "unit %s does not belong to sortie %s, or is named twice", step.Unit, sortie.ID).At(at("outcomes", i)+".unit"))
		}
		delete(want, step.Unit)
	}
	if len(want) > 0 {
		faults = append(faults, store.Errorf(store.Invalid, "OUTCOME_MISSING", "say what became of %s", join(sortedKeys(want))).At("outcomes"))
	}
	return faults.Err()
}

// ScrubSortie takes a sortie out of a confirmed plan. Its reserved units go
// back to stock; units that are out have to be returned first.
func (b *Book) ScrubSortie(ctx context.Context, id, name, reason string) (store.Plan, error) {
	plan, sortie, err := b.sortie(ctx, id, name, "scrubbed")
	if err != nil {
		return store.Plan{}, err
	}
	if sortie.State == store.SortieLaunched || sortie.State == store.SortieScrubbed {
		return *plan, sortieIs(plan, sortie, "scrubbed")
	}
	if reason == "" {
		return *plan, store.Errorf(store.Invalid, "REASON_MISSING", "say why the sortie is scrubbed").At("reason")
	}
	if err := b.giveBack(ctx, store.ReservationFilter{Plan: id, Sortie: name}, store.Release, reason); err != nil {
		return *plan, err
	}
	sortie.State = store.SortieScrubbed
	b.changedPlan(b.record(store.Movement{Event: store.Scrub, Plan: id, Sortie: name, Reason: reason}))
	return *plan, b.closePlan(plan)
}

// closePlan closes a plan each of whose sorties has launched or was scrubbed.
func (b *Book) closePlan(plan *store.Plan) error {
	for i := range plan.Sorties {
		if s := plan.Sorties[i].State; s != store.SortieLaunched && s != store.SortieScrubbed {
			return nil
		}
	}
	plan.State = store.Closed
	b.changedPlan(b.record(store.Movement{Event: store.ClosePlan, Plan: plan.ID}))
	return nil
}
