package ledger

import (
	"context"
	"sort"

	"bowroll/server/store"
)

// Difference is what a count of stock found against the ledger.
type Difference struct {
	// Expected is how many units the ledger has there, and Seen how many were
	// counted.
	Expected int `json:"expected"`
	Seen     int `json:"seen"`
	// Missing are units that should be there and were not seen, Misplaced those
	// seen that the ledger has elsewhere or out of stowage, Unknown those seen
	// that the site does not have. All in order.
	Missing   []string `json:"missing"`
	Misplaced []string `json:"misplaced"`
	Unknown   []string `json:"unknown"`
}

// CountStock compares the serials seen of a lot, at a place where one is named,
// with the ledger, and records the outcome. It changes no unit: what is missing
// is reported lost by a person, with a reason.
func (b *Book) CountStock(ctx context.Context, id, place string, seen []string, reason string) (Difference, error) {
	if _, err := b.lot(ctx, id); err != nil {
		return Difference{}, err
	}
	expected := map[string]bool{}
	all := map[string]bool{}
	for after := ""; ; {
		units, err := b.tx.ListUnits(ctx, store.UnitFilter{Lot: id}, after, MostUnits)
		if err != nil {
			return Difference{}, err
		}
		for _, unit := range units {
			after = unit.ID
			all[unit.ID] = true
			if (shelved[unit.State] || unit.State == store.Quarantined || unit.State == store.Condemned) && (place == "" || unit.Place == place) {
				expected[unit.ID] = true
			}
		}
		if len(units) < MostUnits {
			break
		}
	}
	d := Difference{Expected: len(expected), Missing: []string{}, Misplaced: []string{}, Unknown: []string{}}
	counted := map[string]bool{}
	for _, unit := range seen {
		if counted[unit] {
			continue
		}
		counted[unit] = true
		switch {
		case expected[unit]:
		case all[unit]:
			d.Misplaced = append(d.Misplaced, unit)
		default:
			d.Unknown = append(d.Unknown, unit)
		}
	}
	d.Seen = len(counted)
	for unit := range expected {
		if !counted[unit] {
			d.Missing = append(d.Missing, unit)
		}
	}
	sort.Strings(d.Missing)
	sort.Strings(d.Misplaced)
	sort.Strings(d.Unknown)
	b.record(store.Movement{Event: store.CountStock, Lot: id, Place: place, Reason: reason, Detail: detail(d)})
	return d, nil
}
