package figure_test

import (
	"testing"

	"bowroll/client/sheet/figure"
	"bowroll/perf/quantity"
)

// A limit that is read permits no more than it does: least ones are rounded up and
// greatest ones down, and one that needs no rounding stays.
func TestLimitsAreRoundedToTheSafeSide(t *testing.T) {
	const knot = 1852.0 / 3600
	for _, c := range []struct {
		system      quantity.System
		measure     figure.Measure
		value       float64
		least, most string
	}{
		{quantity.Trade, figure.Speed, 28.04 * knot, "28.1 kt", "28.0 kt"},
		{quantity.Trade, figure.Speed, 28 * knot, "28.0 kt", "28.0 kt"},
		{quantity.Trade, figure.Speed, -4.26 * knot, "-4.2 kt", "-4.3 kt"},
		{quantity.Trade, figure.Mass, 13090.7 * 0.45359237, "13,091 lb", "13,090 lb"},
		{quantity.Trade, figure.Temperature, 35.04, "35.1 degC", "35.0 degC"},
		{quantity.SI, figure.Length, 100.01, "100.1 m", "100.0 m"},
		{quantity.SI, figure.Speed, -0.04, "0.0 m/s", "-0.1 m/s"},
	} {
		if got := figure.AtLeast(c.system, c.measure, c.value); got != c.least {
			t.Errorf("at least %g is written %s, want %s", c.value, got, c.least)
		}
		if got := figure.AtMost(c.system, c.measure, c.value); got != c.most {
			t.Errorf("at most %g is written %s, want %s", c.value, got, c.most)
		}
	}
}
