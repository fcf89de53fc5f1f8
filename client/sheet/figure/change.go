package figure

import (
	"math"
	"strings"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// endings are the units that the contract's names end in.
var endings = []struct {
	suffix string
	Measure
}{
	{"_mps", Speed}, {"_kg", Mass}, {"_c", Temperature}, {"_pa", Pressure}, {"_m", Length},
}

// MeasureOf is how a quantity that is named as the contract does is written; zero
// for a name that ends in no unit known here.
func MeasureOf(name string) Measure {
	for _, e := range endings {
		if strings.HasSuffix(name, e.suffix) {
			return e.Measure
		}
	}
	return Measure{}
}

// Named writes the value of a quantity that is named as the contract does, with
// its unit in the name. ok is false for a name that ends in no unit known here.
func Named(system quantity.System, name string, value float64) (text string, ok bool) {
	if m := MeasureOf(name); m != (Measure{}) {
		return Measured(system, m, value), true
	}
	switch {
	case strings.HasSuffix(name, "_s"):
		return Seconds(value), true
	case strings.HasSuffix(name, "_count"):
		return Fixed(value, 0), true
	}
	return "", false
}

// Change writes one change of an input that suffices, e.g. "3 kt more headwind":
// rounded to where it still does.
func Change(system quantity.System, c *bowrollv1.Change) string {
	amount, more := math.Abs(c.GetChange()), "more"
	if c.GetChange() < 0 {
		more = "less"
	}
	what := map[string]string{
		"headwind_mps": "headwind", "credited_headwind_mps": "headwind",
		"gross_mass_kg": "mass", "available_m": "run",
	}[c.GetQuantity()]
	fewer := more
	if more == "less" {
		fewer = "fewer"
	}
	switch {
	case what != "":
		return AtLeast(system, MeasureOf(c.GetQuantity()), amount) + " " + more + " " + what
	case c.GetQuantity() == "unit_count" && amount == 1:
		return "1 " + fewer + " unit"
	case c.GetQuantity() == "unit_count":
		return Fixed(amount, 0) + " " + fewer + " units"
	}
	return c.GetText()
}
