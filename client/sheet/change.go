package sheet

import (
	"math"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// endings are the units that the contract's names end in.
var endings = []struct {
	suffix string
	measure
}{
	{"_mps", speed}, {"_kg", mass}, {"_c", temperature}, {"_pa", pressure}, {"_m", length},
}

// named draws the value of a quantity that is named as the contract does, with
// its unit in the name.
func (p *page) named(quantity string, value float64) string {
	for _, e := range endings {
		if strings.HasSuffix(quantity, e.suffix) {
			return p.measured(e.measure, value)
		}
	}
	switch {
	case strings.HasSuffix(quantity, "_s"):
		return seconds(value)
	case strings.HasSuffix(quantity, "_count"):
		return fixed(value, 0)
	}
	return figures(value, 4)
}

// changes says which single changes would do, the cheapest first.
func (p *page) changes(list []*bowrollv1.Change) string {
	var parts []string
	for _, c := range list {
		parts = append(parts, p.change(c))
	}
	return strings.Join(parts, ", or ")
}

// change says one change in the units of the page.
func (p *page) change(c *bowrollv1.Change) string {
	amount, more := math.Abs(c.GetChange()), "more"
	if c.GetChange() < 0 {
		more = "less"
	}
	what := map[string]string{
		"headwind_mps": "headwind", "credited_headwind_mps": "headwind",
		"gross_mass_kg": "mass", "available_m": "run",
	}[c.GetQuantity()]
	switch {
	case what != "":
		return p.named(c.GetQuantity(), amount) + " " + more + " " + what
	case c.GetQuantity() == "unit_count" && amount == 1:
		return "1 " + more + " unit"
	case c.GetQuantity() == "unit_count":
		return fixed(amount, 0) + " " + more + " units"
	}
	return clean(c.GetText())
}
