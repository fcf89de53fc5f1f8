package wind

import (
	"math"

	"bowroll/perf/elementary"
)

// HeadUp gives the course that puts the wind over deck straight down the launch
// axis, or as nearly so as any does, at a ship's speed: of the courses with the
// least crosswind, the one with the greatest headwind. In a calm every course is
// as good, and it is course 0.
//
// Across the axis the wind over deck is W sin(from - axis) - V sin(offset), so
// the axis lies asin(V sin(offset)/W) to the left of where the wind comes from.
func HeadUp(natural Vector, axisOffsetDeg, speedMPS float64) Ship {
	ship := Ship{SpeedMPS: speedMPS, AxisOffsetDeg: axisOffsetDeg}
	if natural.SpeedMPS <= 0 {
		return ship
	}
	sinOffset, _ := sincos(axisOffsetDeg)
	across := max(-1, min(1, speedMPS*sinOffset/natural.SpeedMPS))
	off := elementary.Asin(across) * 180 / math.Pi
	ship.CourseDeg = circle(natural.FromDeg - off - axisOffsetDeg)
	return ship
}

// HeadUpUnder is [HeadUp] at the greatest speed between least and greatest that
// keeps every state of the wind over deck at or below a ceiling. Where none does
// it is the least speed, and the ceiling is exceeded.
func HeadUpUnder(natural Natural, axisOffsetDeg, leastMPS, greatestMPS float64, ceilingMPS *float64) Ship {
	at := func(speed float64) Ship { return HeadUp(natural.Mean, axisOffsetDeg, speed) }
	if ceilingMPS == nil {
		return at(greatestMPS)
	}
	keeps := func(speed float64) bool {
		return natural.Use(at(speed), FullCredit()).GreatestSpeedMPS <= *ceilingMPS
	}
	if keeps(greatestMPS) {
		return at(greatestMPS)
	}
	low, high := leastMPS, greatestMPS
	if !keeps(low) {
		return at(low)
	}
	for high-low > 1e-9 {
		mid := low + float64(0.5*(high-low))
		if keeps(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	return at(low)
}
