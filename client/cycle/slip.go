package cycle

import (
	"strings"

	"bowroll/perf/quantity"
)

// slipUnits are the units that are taken for each other, by the words that a slip is
// told in.
var slipUnits = map[string]string{
	"pounds": "lb", "kilograms": "kg", "feet": "ft", "metres": "m", "knots": "kt", "metres a second": "m/s",
	"degrees Fahrenheit": "degF", "degrees Celsius": "degC", "hectopascals": "hPa", "pascals": "Pa",
}

// SlipHint turns a hint of the contract about a slip, which speaks of what to send,
// into one about what to write: the same number with the unit that was probably
// meant. written is the value as it stands, with its unit. Other hints stay.
func SlipHint(hint, written string) string {
	rest, slip := strings.CutPrefix(hint, "looks like ")
	before, wire, sends := strings.Cut(rest, ": send ")
	if !slip || !sends {
		return hint
	}
	meant, taken, converted := strings.Cut(before, " taken for ")
	was := slipUnits[wire] // the number is of the other unit, written with this one
	if converted {
		words, _, _ := strings.Cut(taken, " and converted")
		was = slipUnits[words]
	}
	number, unit, _ := strings.Cut(written, " ")
	if unit != was || slipUnits[meant] == "" {
		return "looks like " + meant + ": check number and unit"
	}
	return "looks like " + meant + ": write " + number + " " + slipUnits[meant] + " if that is meant"
}

// slipHint is the hint where a number is out of its range.
func slipHint(d quantity.Dimension, written string, value, least, greatest float64) string {
	slip, _ := quantity.FindSlip(d, value, quantity.Within(least, greatest))
	return SlipHint(slip.Describe(d), written)
}
