package ledger

import (
	"context"
	"fmt"
	"time"

	"bowroll/server/store"
)

// Confirm reserves every unit that a plan needs until hold, all or nothing:
// from each lot the units that expire first, and for units with a separate
// igniter one igniter each. was is the entry under which the caller read the
// plan, 0 where that is of no matter.
//
// Where stock no longer suffices the error is [store.Changed] and says, for
// each lot, what is there and what became of the rest.
func (b *Book) Confirm(ctx context.Context, id string, was int64, hold time.Time) (store.Plan, error) {
	plan, err := b.plan(ctx, id)
	if err != nil {
		return store.Plan{}, err
	}
	if err := sameVersion("plan", id, was, plan.Seq); err != nil {
		return *plan, err
	}
	if plan.State != store.Draft {
		return *plan, planIs(plan, "confirmed")
	}
	if !hold.After(b.by.Time) {
		return *plan, store.Errorf(store.Invalid, "HOLD_PAST", "reservations until %s would have run out already (it is %s)",
			hold.UTC().Format(rfc3339), b.by.Time.Format(rfc3339)).At("hold_until_time")
	}
	if expired, err := b.ExpireReservations(ctx); err != nil {
		return *plan, err
	} else if len(expired) > 0 {
		// What ran out is stock again, and the search below has to see it.
		if err := b.flush(ctx); err != nil {
			return *plan, err
		}
	}
	if err := b.drawIgniters(ctx, plan); err != nil {
		return *plan, err
	}
	supply, err := b.supply(ctx, plan)
	if err != nil {
		return *plan, err
	}
	hold = store.FromMicros(store.Micros(hold))
	for i := range plan.Sorties {
		sortie := &plan.Sorties[i]
		for j := range sortie.Draws {
			draw := &sortie.Draws[j]
			units := supply[draw.Lot]
			draw.Units = make([]string, draw.Count)
			for k := range draw.Count {
				draw.Units[k] = units[k].ID
				if _, err := b.changeUnit(store.Movement{
					Event: store.Reserve, Unit: units[k].ID, Plan: id, Sortie: sortie.ID, Until: hold,
					Reason: "first to expire of its lot",
				}); err != nil {
					return *plan, err
				}
			}
			supply[draw.Lot] = units[draw.Count:]
		}
	}
	plan.State, plan.HoldUntil = store.Confirmed, hold
	b.changedPlan(b.record(store.Movement{Event: store.ConfirmPlan, Plan: id, Until: hold}))
	return *plan, nil
}

// supply returns, for each lot that a plan draws on, the units to draw, those
// that expire first before the others; all usable at the latest launch they may
// be drawn for.
func (b *Book) supply(ctx context.Context, plan *store.Plan) (map[string][]store.Unit, error) {
	need := map[string]int{}
	launch := map[string]time.Time{}
	for _, sortie := range plan.Sorties {
		for _, draw := range sortie.Draws {
			need[draw.Lot] += draw.Count
			launch[draw.Lot] = latest(launch[draw.Lot], sortie.LaunchTime)
		}
	}
	supply := make(map[string][]store.Unit, len(need))
	var faults store.Errors
	for _, id := range sortedKeys(need) {
		lot, err := b.lot(ctx, id)
		if store.Is(err, store.NotFound) {
			faults = append(faults, store.Errorf(store.Refused, "LOT_NOT_FOUND", "the plan draws on lot %s, which the site does not have", id).With("lot", id))
			continue
		}
		if err != nil {
			return nil, err
		}
		if why := lot.Barred(latest(launch[id], b.by.Time)); why != "" {
			faults = append(faults, store.Errorf(store.Changed, "LOT_BARRED", "lot %s is %s: plan anew", id, why).With("lot", id))
			continue
		}
		units, err := b.tx.FirstExpiring(ctx, id, launch[id], need[id])
		if err != nil {
			return nil, err
		}
		if len(units) < need[id] {
			fault, err := b.short(ctx, id, need[id], len(units))
			if err != nil {
				return nil, err
			}
			faults = append(faults, fault)
			continue
		}
		b.adopt(units)
		supply[id] = units
	}
	return supply, faults.Err()
}

// short says what is left of a lot and what became of the rest.
func (b *Book) short(ctx context.Context, lot string, need, have int) (*store.Error, error) {
	counts, err := b.tx.CountUnits(ctx, store.UnitFilter{Lot: lot})
	if err != nil {
		return nil, err
	}
	states := make([]string, len(counts))
	for i, c := range counts {
		states[i] = fmt.Sprintf("%d %s", c.Count, c.State)
	}
	return store.Errorf(store.Changed, "STOCK_SHORT", "lot %s: the plan needs %d and %d are usable (%s): plan anew on the stock there is",
		lot, need, have, join(states)).With("lot", lot).With("need", fmt.Sprint(need)).With("have", fmt.Sprint(have)), nil
}

// drawIgniters adds to each sortie the igniters that its units need, from the
// lots of that type that expire first.
func (b *Book) drawIgniters(ctx context.Context, plan *store.Plan) error {
	left := map[string][]lotLeft{}
	for i := range plan.Sorties {
		sortie := &plan.Sorties[i]
		need := map[string]int{}
		for _, draw := range sortie.Draws {
			lot, err := b.lot(ctx, draw.Lot)
			if store.Is(err, store.NotFound) {
				continue // said by supply
			}
			if err != nil {
				return err
			}
			if lot.Kind == store.Booster && lot.IgniterType != "" {
				need[lot.IgniterType] += draw.Count
			}
		}
		for _, kind := range sortedKeys(need) {
			if _, ok := left[kind]; !ok {
				lots, err := lotsOfType(ctx, b.tx, store.Igniter, kind, b.by.Time)
				if err != nil {
					return err
				}
				left[kind] = lots
			}
			draws, missing := drawFrom(left[kind], need[kind])
			if missing > 0 {
				return store.Errorf(store.Changed, "STOCK_SHORT", "igniters of type %s: the plan needs %d more than are usable", kind, missing).With("type", kind)
			}
			sortie.Draws = append(sortie.Draws, draws...)
		}
	}
	return nil
}

// drawFrom takes n units from lots, in order.
func drawFrom(lots []lotLeft, n int) (draws []store.Draw, missing int) {
	for i := range lots {
		take := min(n, lots[i].available)
		if take > 0 {
			draws = append(draws, store.Draw{Lot: lots[i].lot.ID, Count: take})
			lots[i].available -= take
			n -= take
		}
	}
	return draws, n
}
