package ledger

import (
	"context"
	"fmt"
	"sort"
	"time"

	"bowroll/server/store"
)

// lotLeft is a lot and how many of its units are available.
type lotLeft struct {
	lot       store.Lot
	available int
}

// lotsOfType returns the lots of a type that may be used at an instant and have
// units available, those that expire first before the others, then by id.
func lotsOfType(ctx context.Context, r store.Reader, kind store.Kind, name string, at time.Time) ([]lotLeft, error) {
	counts, err := r.CountUnits(ctx, store.UnitFilter{State: store.Available})
	if err != nil {
		return nil, err
	}
	var list []lotLeft
	for _, c := range counts {
		if c.Kind != kind || c.Type != name {
			continue
		}
		lot, err := r.Lot(ctx, c.Lot)
		if err != nil {
			return nil, err
		}
		if lot.Barred(at) == "" {
			list = append(list, lotLeft{lot: lot, available: c.Count})
		}
	}
	sort.Slice(list, func(i, j int) bool {
		a, b := list[i].lot, list[j].lot
		if !a.ExpireTime.Equal(b.ExpireTime) {
			return a.ExpireTime.Before(b.ExpireTime)
		}
		return a.ID < b.ID
	})
	return list, nil
}

// Pick is one unit to take and why it is this one.
type Pick struct {
	Unit   store.Unit
	Reason string
}

// PickUnits names the count units of a type to take for use until an instant:
// those that expire first. Where pairs is true units come in pairs of one lot,
// as mirror stations need. It changes nothing. Where stock does not suffice the
// error is [store.Refused].
func PickUnits(ctx context.Context, r store.Reader, name string, count int, pairs bool, until time.Time) ([]Pick, error) {
	if pairs && count%2 != 0 {
		return nil, store.Errorf(store.Invalid, "COUNT_ODD", "%d units do not make pairs", count).At("unit_count")
	}
	lots, err := lotsOfType(ctx, r, store.Booster, name, until)
	if err != nil {
		return nil, err
	}
	var picks []Pick
	for _, one := range lots {
		want := count - len(picks)
		if want == 0 {
			break
		}
		units, err := r.FirstExpiring(ctx, one.lot.ID, until, want)
		if err != nil {
			return nil, err
		}
		if pairs {
			units = units[:len(units)/2*2]
		}
		for _, unit := range units {
			reason := fmt.Sprintf("usable until %s, first to expire", unit.UsableUntil.Format(rfc3339))
			if pairs {
				reason += ", paired within lot " + one.lot.ID
			}
			picks = append(picks, Pick{Unit: unit, Reason: reason})
		}
	}
	if len(picks) < count {
		return nil, store.Errorf(store.Refused, "STOCK_SHORT", "%d units of %s are asked for and %d are usable", count, name, len(picks)).
			With("type", name)
	}
	return picks, nil
}
