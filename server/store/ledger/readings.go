package ledger

import (
	"context"
	"fmt"
	"sort"
	"time"

	"bowroll/server/store"
)

// shelved are the states in which a reading beside the lot concerns a unit.
var shelved = map[store.State]bool{
	store.Received: true, store.Inspected: true, store.Available: true, store.Reserved: true, store.Returned: true,
}

// RecordReadings records readings of a lot, and quarantines the units that an
// excursion reached: those of the lot that are stowed, at the place of the
// reading where it names one. A reading that is there already is not new. It
// returns the number of new readings and the units quarantined, in order.
func (b *Book) RecordReadings(ctx context.Context, id string, readings []store.Reading) (added int, quarantined []string, err error) {
	lot, err := b.lot(ctx, id)
	if err != nil {
		return 0, nil, err
	}
	fresh, err := b.unknownReadings(ctx, id, readings)
	if err != nil {
		return 0, nil, err
	}
	m := b.record(store.Movement{Event: store.Read, Lot: id, Detail: detail(digestOf(len(readings), fresh))})
	excursions := map[string]string{}
	for i := range readings {
		r := &readings[i]
		r.Lot, r.Seq = id, m.Seq
		r.Time = store.FromMicros(store.Micros(r.Time))
		if why := outside(lot, *r); why != "" {
			if _, ok := excursions[r.Place]; !ok {
				excursions[r.Place] = why
			}
		}
	}
	if added, err = b.tx.InsertReadings(ctx, readings); err != nil {
		return 0, nil, err
	}
	for _, place := range sortedKeys(excursions) {
		ids, err := b.overexpose(ctx, id, place, excursions[place])
		if err != nil {
			return 0, nil, err
		}
		quarantined = append(quarantined, ids...)
	}
	sort.Strings(quarantined)
	return added, quarantined, nil
}

// outside says how a reading is outside the lot's limits; empty where it is
// not, or where no limit is known.
func outside(lot store.Lot, r store.Reading) string {
	switch {
	case lot.StowageLeastC != nil && r.TemperatureC < *lot.StowageLeastC:
		return fmt.Sprintf("%g degrees Celsius, below %g", r.TemperatureC, *lot.StowageLeastC)
	case lot.StowageGreatestC != nil && r.TemperatureC > *lot.StowageGreatestC:
		return fmt.Sprintf("%g degrees Celsius, above %g", r.TemperatureC, *lot.StowageGreatestC)
	case lot.HumidityGreatest != nil && r.RelativeHumidity != nil && *r.RelativeHumidity > *lot.HumidityGreatest:
		return fmt.Sprintf("relative humidity %g, above %g", *r.RelativeHumidity, *lot.HumidityGreatest)
	}
	return ""
}

// overexpose quarantines the stowed units of a lot, at a place where one is named.
func (b *Book) overexpose(ctx context.Context, lot, place, why string) (ids []string, err error) {
	after := ""
	for {
		units, err := b.tx.ListUnits(ctx, store.UnitFilter{Lot: lot, Place: place}, after, MostUnits)
		if err != nil {
			return nil, err
		}
		b.adopt(units)
		for _, unit := range units {
			after = unit.ID
			if unit = b.unit(unit.ID); !shelved[unit.State] {
				continue
			}
			if _, err := b.changeUnit(store.Movement{Event: store.Overexpose, Unit: unit.ID, Reason: "logger beside the lot: " + why}); err != nil {
				return nil, err
			}
			if unit.State == store.Reserved {
				if _, err := b.void(ctx, unit.Plan, unit.Sortie, "unit "+unit.ID+" was quarantined: "+why); err != nil {
					return nil, err
				}
			}
			ids = append(ids, unit.ID)
		}
		if len(units) < MostUnits {
			return ids, nil
		}
	}
}

// Exposure is what the readings of a lot add up to.
type Exposure struct {
	// ReadingCount is the number of readings.
	ReadingCount int
	// LeastC and GreatestC are the extremes, degrees Celsius; nil without readings.
	LeastC    *float64
	GreatestC *float64
	// WatchedS is the time between readings close enough to speak for the time
	// between them; OutsideS the part of it with a reading outside the limits at
	// either end; UnknownS the time in gaps longer than the lot permits. All in
	// seconds, summed over places.
	WatchedS float64
	OutsideS float64
	UnknownS float64
	// JudgedC and JudgedHumidity say whether limits are known to judge by.
	JudgedC        bool
	JudgedHumidity bool
}

// ExposureOf adds up readings of a lot, which are in the order of time.
func ExposureOf(lot store.Lot, readings []store.Reading) Exposure {
	e := Exposure{
		ReadingCount:   len(readings),
		JudgedC:        lot.StowageLeastC != nil && lot.StowageGreatestC != nil,
		JudgedHumidity: lot.HumidityGreatest != nil,
	}
	before := map[string]store.Reading{}
	for _, r := range readings {
		c := r.TemperatureC
		if e.LeastC == nil || c < *e.LeastC {
			e.LeastC = &c
		}
		if e.GreatestC == nil || c > *e.GreatestC {
			e.GreatestC = &c
		}
		if last, ok := before[r.Place]; ok {
			span := r.Time.Sub(last.Time).Seconds()
			switch {
			case lot.ReadingGapS > 0 && span > lot.ReadingGapS:
				e.UnknownS += span
			default:
				e.WatchedS += span
				if outside(lot, last) != "" || outside(lot, r) != "" {
					e.OutsideS += span
				}
			}
		}
		before[r.Place] = r
	}
	return e
}

// AllReadings returns every reading of a lot, in the order of time, then place.
func AllReadings(ctx context.Context, r store.Reader, lot string) ([]store.Reading, error) {
	return allReadings(ctx, r, lot, time.Time{}, time.Time{})
}

// allReadings reads page after page of the readings after an instant; where last
// is given, no further than the page that goes beyond it.
func allReadings(ctx context.Context, r store.Reader, lot string, after, last time.Time) (all []store.Reading, err error) {
	const page = 5000
	for {
		list, err := r.Readings(ctx, lot, after, page)
		if err != nil {
			return nil, err
		}
		if len(list) < page || !last.IsZero() && list[len(list)-1].Time.After(last) {
			return append(all, list...), nil
		}
		// The last instant may go on on the next page: it is read again there.
		end := len(list) - 1
		for end > 0 && list[end].Time.Equal(list[len(list)-1].Time) {
			end--
		}
		all, after = append(all, list[:end+1]...), list[end].Time
	}
}
