package figure

import (
	"math"

	"bowroll/perf/quantity"
)

// AtLeast writes a least limit with its unit, rounded up; [AtMost] a greatest one,
// rounded down: a limit that is read with fewer decimals than it has must not permit
// more than it does.
func AtLeast(system quantity.System, m Measure, value float64) string {
	return limit(system, m, value, math.Ceil)
}

// AtMost is the greatest limit that [AtLeast] is the least of.
func AtMost(system quantity.System, m Measure, value float64) string {
	return limit(system, m, value, math.Floor)
}

// Between writes a range that is permitted, of which either end may be open; nothing
// where both are.
func Between(system quantity.System, m Measure, least, greatest *float64) string {
	switch {
	case least != nil && greatest != nil:
		return AtLeast(system, m, *least) + " to " + AtMost(system, m, *greatest)
	case least != nil:
		return "at least " + AtLeast(system, m, *least)
	case greatest != nil:
		return "at most " + AtMost(system, m, *greatest)
	}
	return ""
}

// limit rounds in the unit that is read.
func limit(system quantity.System, m Measure, value float64, round func(float64) float64) string {
	places, unit := m.Trade, Unit(system, m)
	if system == quantity.SI {
		places = m.SI
	}
	shown, ok := quantity.In(m.Dimension, value, unit)
	if !ok {
		return Measured(system, m, value)
	}
	if m == Temperature && places == 0 {
		places = 1 // a whole degree off could leave the planned one outside
	}
	return Grouped(Fixed(step(shown, places, round), places)) + " " + unit
}

// SecondsAtLeast writes a time rounded up, and SecondsAtMost one rounded down.
func SecondsAtLeast(value float64) string { return Seconds(step(value, 1, math.Ceil)) }

// SecondsAtMost is the greatest time that [SecondsAtLeast] is the least of.
func SecondsAtMost(value float64) string { return Seconds(step(value, 1, math.Floor)) }

// step rounds a number to so many decimals. What is a whole step but for the last
// bits is that step.
func step(value float64, places int, round func(float64) float64) float64 {
	scale := math.Pow(10, float64(places))
	steps := value * scale
	if nearest := math.Round(steps); math.Abs(steps-nearest) < 1e-6 {
		steps = nearest
	}
	return round(steps) / scale
}
