package takeoff

import (
	"math"
	"time"
)

// Live is what is known of the conditions now. What is nil is not known.
type Live struct {
	HeadwindMPS  *float64 // credited, as the box's is
	CrosswindMPS *float64 // from either side
	GrossMassKG  *float64 // without units
	AirC         *float64
	GrainC       []float64 // of each unit; empty: not known
	SpotM        *float64  // from the spot, either way along the axis
	Now          *time.Time
}

// A BoxItem is one side of a box held against what is known now.
type BoxItem struct {
	Quantity string   // name with unit, e.g. "headwind_mps"
	Value    *float64 // nil: not known
	Low      *float64 // least permitted, nil: none
	High     *float64 // greatest permitted, nil: none
	Now      *time.Time
	Until    *time.Time
	Holds    bool
}

// Check holds live conditions against the box and the time until which it was
// given, if it was, item by item. The box is void as soon as one item does not
// hold; what is not known does not hold, an unsure clock least of all. A side
// whose ends are infinite is none.
func (b *Box) Check(live Live, until *time.Time) (items []BoxItem, holds bool) {
	item := func(quantity string, value *float64, low, high *float64) {
		if (low == nil || math.IsInf(*low, -1)) && (high == nil || math.IsInf(*high, 1)) {
			return
		}
		i := BoxItem{Quantity: quantity, Value: value, Low: low, High: high}
		i.Holds = value != nil && !math.IsNaN(*value) &&
			(low == nil || *value >= *low) && (high == nil || *value <= *high)
		items = append(items, i)
	}
	item("headwind_mps", live.HeadwindMPS, &b.HeadwindMPS.Low, &b.HeadwindMPS.High)
	if b.CrosswindMPS != nil {
		item("crosswind_mps", size(live.CrosswindMPS), nil, b.CrosswindMPS)
	}
	item("gross_mass_kg", live.GrossMassKG, &b.GrossMassKG.Low, &b.GrossMassKG.High)
	item("temperature_c", live.AirC, &b.AirC.Low, &b.AirC.High)
	if b.GrainC != nil {
		if len(live.GrainC) == 0 {
			item("grain_temperature_c", nil, &b.GrainC.Low, &b.GrainC.High)
		}
		// One item for all units: the one farthest out, or the first.
		worst := -1
		for i, c := range live.GrainC {
			if worst < 0 || b.GrainC.outside(c) > b.GrainC.outside(live.GrainC[worst]) {
				worst = i
			}
		}
		if worst >= 0 {
			item("grain_temperature_c", &live.GrainC[worst], &b.GrainC.Low, &b.GrainC.High)
		}
	}
	item("spot_m", size(live.SpotM), nil, &b.SpotM)
	if until != nil {
		items = append(items, BoxItem{
			Quantity: "time", Now: live.Now, Until: until, Holds: live.Now != nil && !live.Now.After(*until),
		})
	}
	holds = true
	for i := range items {
		holds = holds && items[i].Holds
	}
	return items, holds
}

// outside is how far a value lies outside the range, +Inf where it is no number.
func (b BoxRange) outside(v float64) float64 {
	if math.IsNaN(v) {
		return math.Inf(1)
	}
	return max(0, b.Low-v, v-b.High)
}

// size is a value without its sign.
func size(v *float64) *float64 {
	if v == nil {
		return nil
	}
	positive := math.Abs(*v)
	return &positive
}
