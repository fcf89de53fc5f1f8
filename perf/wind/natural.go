package wind

import (
	"math"

	"bowroll/perf/violation"
)

// Natural is the natural wind with its unsteadiness: the mean, the lull and the
// gust where known, and how far to either side the direction wanders.
type Natural struct {
	Mean      Vector
	Lull      *Vector
	Gust      *Vector
	SpreadDeg float64 // half width, 0 to 90
}

// Steady is a wind that neither gusts nor wanders.
func Steady(fromDeg, speedMPS float64) Natural {
	return Natural{Mean: Vector{fromDeg, speedMPS}}
}

// Gusting is a wind whose lull and gust, where known, come from the mean's
// direction.
func Gusting(fromDeg, speedMPS float64, lullMPS, gustMPS *float64, spreadDeg float64) Natural {
	n := Natural{Mean: Vector{fromDeg, speedMPS}, SpreadDeg: spreadDeg}
	if lullMPS != nil {
		n.Lull = &Vector{fromDeg, *lullMPS}
	}
	if gustMPS != nil {
		n.Gust = &Vector{fromDeg, *gustMPS}
	}
	return n
}

// A state is one of lull, mean and gust.
type state struct {
	name string
	Vector
}

// states lists what is known, the mean first.
func (n Natural) states() []state {
	all := append(make([]state, 0, 3), state{"mean", n.Mean})
	if n.Lull != nil {
		all = append(all, state{"lull", *n.Lull})
	}
	if n.Gust != nil {
		all = append(all, state{"gust", *n.Gust})
	}
	return all
}

// Used is the wind as a take-off is planned on it.
//
// The run is planned on the state (lull, mean or gust) and the direction inside
// the spread that give the least credited headwind. The crosswind is the
// greatest in size of any state and direction: with the axis on the keel that
// is the gust's.
type Used struct {
	SpeedMPS        float64 // wind over deck in the mean wind
	RelativeFromDeg float64 // its direction from the ship's head

	HeadwindMPS         float64 // before any credit, in the state planned on
	CreditedHeadwindMPS float64 // the least credited
	PlannedOn           string  // "lull", "mean" or "gust"

	CrosswindMPS     float64 // the greatest, positive from starboard
	CrosswindOn      string  // "lull", "mean" or "gust"
	TailwindMPS      float64 // the greatest tailwind of any state, uncredited; 0 for none
	GreatestSpeedMPS float64 // the greatest wind over deck of any state
}

// Use combines every state of the wind with the ship's motion as vectors.
func (n Natural) Use(s Ship, c Credit) Used {
	mean := s.OverDeck(n.Mean)
	used := Used{
		SpeedMPS:            mean.SpeedMPS,
		RelativeFromDeg:     mean.RelativeFromDeg,
		CreditedHeadwindMPS: math.Inf(1),
	}
	sinOffset, cosOffset := sincos(s.AxisOffsetDeg)
	own, drift := float64(s.SpeedMPS*cosOffset), float64(-s.SpeedMPS*sinOffset)
	for _, st := range n.states() {
		t := s.termOf(st.Vector, n.SpreadDeg, c)
		if credited := own + t.credited; credited < used.CreditedHeadwindMPS {
			used.CreditedHeadwindMPS = credited
			used.HeadwindMPS = own + t.along
			used.PlannedOn = st.name
		}
		used.TailwindMPS = max(used.TailwindMPS, -(own + t.along))
		for _, crosswind := range [2]float64{drift + t.crossLow, drift + t.crossHigh} {
			if used.CrosswindOn == "" || math.Abs(crosswind) > math.Abs(used.CrosswindMPS) {
				used.CrosswindMPS, used.CrosswindOn = crosswind, st.name
			}
		}
		used.GreatestSpeedMPS = max(used.GreatestSpeedMPS, t.feltAt(s.SpeedMPS))
	}
	return used
}

// A term is what one state of the wind, wandering inside its spread, gives a
// ship on one course, whatever her speed.
type term struct {
	speed     float64 // of the natural wind
	along     float64 // least part along the axis, positive from ahead
	credited  float64 // least credited part along the axis
	crossLow  float64 // least part across the axis, positive from starboard
	crossHigh float64 // greatest part across the axis
	ahead     float64 // greatest cosine of its angle from the ship's head
}

// termOf gives the term of a natural wind v on s's course and axis.
func (s Ship) termOf(v Vector, spreadDeg float64, c Credit) term {
	fromAxis := v.FromDeg - s.CourseDeg - s.AxisOffsetDeg
	least, _ := cosines(fromAxis, spreadDeg)
	low, high := cosines(fromAxis-90, spreadDeg)
	_, ahead := cosines(v.FromDeg-s.CourseDeg, spreadDeg)
	along := v.SpeedMPS * least
	return term{
		speed:     v.SpeedMPS,
		along:     along,
		credited:  c.Natural(along),
		crossLow:  v.SpeedMPS * low,
		crossHigh: v.SpeedMPS * high,
		ahead:     ahead,
	}
}

// feltAt gives the greatest wind over deck at a ship's speed.
func (t term) feltAt(shipMPS float64) float64 {
	square := float64(shipMPS*shipMPS) + float64(t.speed*t.speed) + float64(2*shipMPS*t.speed*t.ahead)
	return math.Sqrt(max(0, square))
}

// check records every fault of n.
func (n Natural) check(faults *violation.List) {
	faults.Range("from_deg", n.Mean.FromDeg, 0, 360, "degrees true, where the wind comes from")
	faults.Range("speed_mps", n.Mean.SpeedMPS, 0, 60, "")
	faults.Range("direction_spread_deg", n.SpreadDeg, 0, 90, "half width of the spread")
	if n.Lull != nil {
		faults.Range("lull_from_deg", n.Lull.FromDeg, 0, 360, "")
		if faults.Range("lull_mps", n.Lull.SpeedMPS, 0, 60, "") && n.Lull.SpeedMPS > n.Mean.SpeedMPS && n.Lull.FromDeg == n.Mean.FromDeg {
			faults.Add("lull_mps", violation.Number(n.Lull.SpeedMPS), "at most speed_mps ("+violation.Number(n.Mean.SpeedMPS)+")", "lull, mean and gust may be in the wrong order")
		}
	}
	if n.Gust != nil {
		faults.Range("gust_from_deg", n.Gust.FromDeg, 0, 360, "")
		if faults.Range("gust_mps", n.Gust.SpeedMPS, 0, 80, "") && n.Gust.SpeedMPS < n.Mean.SpeedMPS && n.Gust.FromDeg == n.Mean.FromDeg {
			faults.Add("gust_mps", violation.Number(n.Gust.SpeedMPS), "at least speed_mps ("+violation.Number(n.Mean.SpeedMPS)+")", "lull, mean and gust may be in the wrong order")
		}
	}
}

// Validate gives a [violation.List] of every fault in n, or nil.
func (n Natural) Validate() error {
	var faults violation.List
	n.check(&faults)
	return faults.Err()
}
