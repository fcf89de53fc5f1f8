package cycle

import (
	"strings"

	"bowroll/perf/quantity"
)

// A unit is the end of a field's name that says what its number is in. The
// zero unit is that of a ratio.
type unit struct {
	suffix    string
	dimension quantity.Dimension
	example   string // as a planner would write it
}

// units are those the contract's names end in, a longer one before one that it
// ends with.
var units = []unit{
	{"_per_k", quantity.PerKelvin, "0.24 %/K"},
	{"_deg_s", quantity.TurnRate, "48 deg/min"},
	{"_mps", quantity.Speed, "24 kt"},
	{"_deg", quantity.Angle, "292 deg"},
	{"_kg", quantity.Mass, "14,200 lb"},
	{"_pa", quantity.Pressure, "29.92 inHg"},
	{"_m2", quantity.Area, "31.5 m2"},
	{"_m", quantity.Length, "420 ft"},
	{"_s", quantity.Time, "10 min"},
	{"_c", quantity.Temperature, "95 degF"},
	{"_n", quantity.Force, "8,500 N"},
	{"_w", quantity.Power, "1,340 kW"},
	{"_v", quantity.Voltage, "28 V"},
	{"_ohm", quantity.Resistance, "0.8 ohm"},
	{"_a", quantity.Current, "40 mA"},
}

// splitUnit takes the unit off the end of a field's name: gross_mass_kg is
// gross_mass in kilograms. A ratio's name has none.
func splitUnit(name string) (string, unit) {
	for _, u := range units {
		if bare, ok := strings.CutSuffix(name, u.suffix); ok {
			return bare, u
		}
	}
	return name, unit{dimension: quantity.Ratio}
}
