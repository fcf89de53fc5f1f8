package wind

import (
	"math"

	"bowroll/perf/violation"
)

// Limits are the winds over deck that a load may go in. A nil limit is none.
type Limits struct {
	LeastHeadwindMPS     *float64 // credited; from the take-off, may be negative
	GreatestHeadwindMPS  *float64 // credited; above it the load may not go either
	GreatestCrosswindMPS *float64 // to either side
	GreatestTailwindMPS  *float64 // uncredited
	CeilingMPS           *float64 // greatest wind over deck, from any side
}

// The names of the limits, as answers give them.
const (
	Headwind  = "headwind"
	Crosswind = "crosswind"
	Tailwind  = "tailwind"
	Ceiling   = "ceiling"
)

func (l Limits) check(faults *violation.List) {
	if l.LeastHeadwindMPS != nil {
		faults.Range("least_headwind_mps", *l.LeastHeadwindMPS, -60, 80, "")
	}
	if l.GreatestHeadwindMPS != nil {
		faults.Range("greatest_headwind_mps", *l.GreatestHeadwindMPS, -60, 80, "")
	}
	if l.GreatestCrosswindMPS != nil {
		faults.Range("greatest_crosswind_mps", *l.GreatestCrosswindMPS, 0, 80, "")
	}
	if l.GreatestTailwindMPS != nil {
		faults.Range("greatest_tailwind_mps", *l.GreatestTailwindMPS, 0, 80, "")
	}
	if l.CeilingMPS != nil {
		faults.Range("ceiling_mps", *l.CeilingMPS, 0, 120, "")
	}
}

// An EnvelopePoint is the range of wind over deck from one direction that keeps
// every limit.
type EnvelopePoint struct {
	RelativeFromDeg float64  // clockwise from the launch axis
	Open            bool     // whether any speed keeps every limit
	LeastMPS        *float64 // nil where not open
	GreatestMPS     *float64 // nil where not open or where nothing bounds it
	// LeastBinds and GreatestBinds name the limit at either end, empty where
	// none binds. Where not open they name the two that leave no room.
	LeastBinds, GreatestBinds string
}

// Envelope gives the winds over deck that keep the limits, every stepDeg
// degrees of relative direction from 0 up to, not including, 360.
//
// The least headwind is a credited one. What must be felt for it depends on how
// much of the felt wind is the ship's own, ownMPS along the axis; with full
// credit that does not matter.
func Envelope(l Limits, c Credit, ownMPS, stepDeg float64) ([]EnvelopePoint, error) {
	var faults violation.List
	l.check(&faults)
	c.check(&faults)
	faults.Finite("own_mps", ownMPS, "the ship's speed along the launch axis")
	faults.Range("direction_step_deg", stepDeg, 0.1, 90, "")
	if err := faults.Err(); err != nil {
		return nil, err
	}
	count := int(math.Ceil(360/stepDeg - 1e-9))
	points := make([]EnvelopePoint, count)
	for i := range points {
		points[i] = l.from(float64(i)*stepDeg, c, ownMPS)
	}
	return points, nil
}

// from gives the envelope's point at one relative direction.
func (l Limits) from(relativeDeg float64, c Credit, ownMPS float64) EnvelopePoint {
	point := EnvelopePoint{RelativeFromDeg: relativeDeg}
	sin, cos := sincos(relativeDeg)
	least, greatest := 0.0, math.Inf(1)
	atMost := func(speed float64, limit string) {
		if speed < greatest {
			greatest, point.GreatestBinds = speed, limit
		}
	}
	if l.LeastHeadwindMPS != nil {
		need, ok := c.Felt(*l.LeastHeadwindMPS, ownMPS)
		switch {
		case !ok || need > 0 && cos <= 0:
			least, point.LeastBinds = math.Inf(1), Headwind
		case need > 0:
			least, point.LeastBinds = need/cos, Headwind
		case cos < 0:
			atMost(need/cos, Headwind)
		}
	}
	if l.GreatestHeadwindMPS != nil {
		most, ok := c.Felt(*l.GreatestHeadwindMPS, ownMPS)
		switch {
		case !ok: // no wind is credited that much
		case most >= 0 && cos > 0:
			atMost(most/cos, Headwind)
		case most < 0 && cos < 0 && most/cos > least:
			least, point.LeastBinds = most/cos, Headwind
		case most < 0 && cos >= 0:
			least, point.LeastBinds = math.Inf(1), Headwind
		}
	}
	if l.GreatestTailwindMPS != nil && cos < 0 {
		atMost(*l.GreatestTailwindMPS/-cos, Tailwind)
	}
	if l.GreatestCrosswindMPS != nil && sin != 0 {
		atMost(*l.GreatestCrosswindMPS/math.Abs(sin), Crosswind)
	}
	if l.CeilingMPS != nil {
		atMost(*l.CeilingMPS, Ceiling)
	}
	if least > greatest || math.IsInf(least, 1) {
		return point
	}
	point.Open = true
	point.LeastMPS = &least
	if !math.IsInf(greatest, 1) {
		point.GreatestMPS = &greatest
	}
	return point
}
