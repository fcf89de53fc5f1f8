package ledger

import (
	"context"
	"strconv"
	"strings"

	"bowroll/server/store"
)

// MostUnits is how many units one step may name.
const MostUnits = 10000

// ReceiveLot takes a new lot on charge, with its units in state received.
func (b *Book) ReceiveLot(ctx context.Context, lot store.Lot, units []string, place, reason string) (store.Lot, error) {
	if _, err := b.tx.Lot(ctx, lot.ID); err == nil {
		return lot, store.Errorf(store.Exists, "LOT_EXISTS", "site %s has a lot %s already: receive more units into it, or take another id", b.tx.Site(), lot.ID).With("lot", lot.ID)
	} else if !store.Is(err, store.NotFound) {
		return lot, err
	}
	lot.ExpireTime = store.FromMicros(store.Micros(lot.ExpireTime))
	m := b.record(store.Movement{Event: store.ReceiveLot, Lot: lot.ID, Place: place, Reason: reason, Detail: detail(lot)})
	if err := b.changeLot(m); err != nil {
		return lot, err
	}
	if err := b.receiveUnits(ctx, lot.ID, units, place, reason); err != nil {
		return lot, err
	}
	return b.lots[lot.ID].now, nil
}

// ReceiveUnits takes more units of a lot on charge.
func (b *Book) ReceiveUnits(ctx context.Context, lot string, units []string, place, reason string) (store.Lot, error) {
	if _, err := b.lot(ctx, lot); err != nil {
		return store.Lot{}, err
	}
	if err := b.receiveUnits(ctx, lot, units, place, reason); err != nil {
		return store.Lot{}, err
	}
	return b.lots[lot].now, nil
}

func (b *Book) receiveUnits(ctx context.Context, id string, units []string, place, reason string) error {
	var faults store.Errors
	if len(units) > MostUnits {
		faults = append(faults, store.Errorf(store.Invalid, "UNITS_TOO_MANY", "%d units at once: at most %d, send the rest in another request", len(units), MostUnits).At("units"))
	}
	if place == "" {
		faults = append(faults, store.Errorf(store.Invalid, "PLACE_MISSING", "say where the units are stowed").At("place"))
	}
	if reason == "" {
		faults = append(faults, store.Errorf(store.Invalid, "REASON_MISSING", "say why, e.g. the delivery note").At("reason"))
	}
	seen := make(map[string]int, len(units))
	for i, unit := range units {
		if first, ok := seen[unit]; ok {
			faults = append(faults, store.Errorf(store.Invalid, "UNIT_TWICE", "unit %s is named twice (also at %d)", unit, first).At(at("units", i)))
		}
		seen[unit] = i
		if e, ok := b.units[unit]; ok && e.now.State != store.None {
			faults = append(faults, store.Errorf(store.Exists, "UNIT_EXISTS", "site %s has a unit %s already", b.tx.Site(), unit).At(at("units", i)))
		}
	}
	if len(faults) > 0 {
		return faults
	}
	lot := b.lots[id]
	for _, unit := range units {
		if _, err := b.changeUnit(store.Movement{
			Event: store.Receive, Unit: unit, Lot: id, Place: place, Reason: reason, Until: lot.now.ExpireTime,
		}); err != nil {
			return err
		}
	}
	lot.now.ReceivedCount += len(units)
	lot.dirty = true
	return nil
}

// ChangeLot replaces the data of a lot that entry was last changed. A shorter
// or longer life of the lot does not reach units whose exposure shortened theirs.
func (b *Book) ChangeLot(ctx context.Context, lot store.Lot, was int64, reason string) (store.Lot, error) {
	old, err := b.lot(ctx, lot.ID)
	if err != nil {
		return old, err
	}
	if err := sameVersion("lot", lot.ID, was, old.Seq); err != nil {
		return old, err
	}
	if lot.Kind != old.Kind || lot.Type != old.Type {
		return old, store.Errorf(store.Refused, "LOT_TYPE_FIXED", "lot %s is %s of type %s, and stays so: receive a new lot instead", lot.ID, old.Kind, old.Type).At("lot.type")
	}
	lot.ExpireTime = store.FromMicros(store.Micros(lot.ExpireTime))
	if !lot.ExpireTime.Equal(old.ExpireTime) {
		return old, store.Errorf(store.Refused, "LOT_EXPIRY_FIXED",
			"lot %s expires %s, and its units carry that date: receive them anew under a new lot, or suspend the lot", lot.ID, old.ExpireTime.Format(rfc3339)).At("lot.expire_time")
	}
	m := b.record(store.Movement{Event: store.ChangeLot, Lot: lot.ID, Reason: reason, Detail: detail(lot)})
	if err := b.changeLot(m); err != nil {
		return old, err
	}
	return b.lots[lot.ID].now, nil
}

// SuspendLot bars a lot from use, whatever the states of its units, and voids
// the cards that hold one of them. It returns the sorties so voided, as
// "plan/sortie", in order.
func (b *Book) SuspendLot(ctx context.Context, id, reason, authority string) (store.Lot, []string, error) {
	lot, err := b.lot(ctx, id)
	if err != nil {
		return lot, nil, err
	}
	if reason == "" {
		return lot, nil, store.Errorf(store.Invalid, "REASON_MISSING", "say why the lot is suspended").At("reason")
	}
	if lot.Suspended != "" {
		return lot, nil, store.Errorf(store.Refused, "LOT_SUSPENDED", "lot %s is suspended already: %s", id, lot.Suspended).With("lot", id)
	}
	m := b.record(store.Movement{Event: store.Suspend, Lot: id, Reason: reason, Authority: authority})
	if err := b.changeLot(m); err != nil {
		return lot, nil, err
	}
	held, err := b.tx.Reservations(ctx, store.ReservationFilter{Lot: id})
	if err != nil {
		return lot, nil, err
	}
	var voided []string
	for _, one := range held {
		fresh, err := b.void(ctx, one.Plan, one.Sortie, "lot "+id+" is suspended: "+reason)
		if err != nil {
			return lot, nil, err
		}
		if fresh {
			voided = append(voided, one.Plan+"/"+one.Sortie)
		}
	}
	return b.lots[id].now, voided, nil
}

// LiftSuspension lets a lot be used again, by a named authority. Cards stay
// void: they are issued anew.
func (b *Book) LiftSuspension(ctx context.Context, id, reason, authority string) (store.Lot, error) {
	lot, err := b.lot(ctx, id)
	if err != nil {
		return lot, err
	}
	if lot.Suspended == "" {
		return lot, store.Errorf(store.Refused, "LOT_NOT_SUSPENDED", "lot %s is not suspended", id).With("lot", id)
	}
	if authority == "" {
		return lot, store.Errorf(store.Invalid, "AUTHORITY_MISSING", "name the person by whose authority the suspension is lifted").At("authority")
	}
	m := b.record(store.Movement{Event: store.Lift, Lot: id, Reason: reason, Authority: authority})
	if err := b.changeLot(m); err != nil {
		return lot, err
	}
	return b.lots[id].now, nil
}

// sameVersion compares the entry that a caller saw with the one that stands; 0
// means that the caller does not care.
func sameVersion(what, id string, seen, stands int64) error {
	if seen == 0 || seen == stands {
		return nil
	}
	return store.Errorf(store.Changed, "ETAG_MISMATCH",
		"%s %s was changed since it was read (entry %d, now %d): read it again and decide anew", what, id, seen, stands).
		At("etag").With("resource", what+" "+id)
}

// at returns the path of an item of a list.
func at(field string, i int) string { return field + "[" + strconv.Itoa(i) + "]" }

const rfc3339 = "2006-01-02T15:04:05Z07:00"

// join lists words for people.
func join(words []string) string { return strings.Join(words, ", ") }
