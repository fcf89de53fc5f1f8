package quantity

import (
	"math"
	"math/big"
	"strconv"
	"strings"
)

// System is a set of units to show people.
type System int

// The systems shown. Trade is knots, feet, pounds, inches of mercury and
// degrees Celsius; SI is the wire's own units.
const (
	Trade System = iota + 1
	SI
)

// String gives the system's name as flags take it.
func (s System) String() string {
	switch s {
	case Trade:
		return "trade"
	case SI:
		return "si"
	}
	return "unknown"
}

// Unit gives the unit that the system shows d in.
func (s System) Unit(d Dimension) string {
	if s == Trade {
		return d.describe().trade
	}
	return d.describe().si
}

// Shortest, given as digits, writes as many digits as it takes to read the same
// number again.
const Shortest = -1

// Format writes a value given in d.Unit() in the system's unit, with so many
// digits after the point: Format(Mass, 6441, Trade, 0) is "14,200 lb". A ratio
// has no unit after it. NaN and infinities are written "n/a".
func Format(d Dimension, value float64, system System, digits int) string {
	return FormatIn(d, value, system.Unit(d), digits)
}

// FormatIn is Format in a unit of d that the caller names, "hPa" for a
// pressure. A unit that is none of d's gives the value in d.Unit().
func FormatIn(d Dimension, value float64, name string, digits int) string {
	u, ok := find(d, name)
	if !ok {
		u, ok = find(d, d.Unit())
	}
	if !ok || math.IsNaN(value) || math.IsInf(value, 0) {
		return "n/a"
	}
	number, _ := u.fromWire(new(big.Rat).SetFloat64(value)).Float64()
	if math.IsInf(number, 0) {
		return "n/a"
	}
	text := decimal(number, digits)
	if u.names[0] == "1" {
		return text
	}
	return text + " " + u.names[0]
}

// In gives a value in d.Unit() as a number of the named unit; ok is false when
// the unit is none of d's.
func In(d Dimension, value float64, name string) (number float64, ok bool) {
	u, ok := find(d, name)
	if !ok || math.IsNaN(value) || math.IsInf(value, 0) {
		return value, ok
	}
	number, _ = u.fromWire(new(big.Rat).SetFloat64(value)).Float64()
	return number, true
}

// decimal writes number with its digits grouped in threes; a number too large
// or, at Shortest, too small to be read that way has an exponent.
func decimal(number float64, digits int) string {
	size := math.Abs(number)
	if size >= 1e15 || digits < 0 && size < 1e-6 && size > 0 {
		return strconv.FormatFloat(number, 'e', Shortest, 64)
	}
	text := strconv.FormatFloat(number, 'f', min(digits, 15), 64)
	sign := ""
	if text[0] == '-' {
		text = text[1:]
		// Minus nothing is nothing.
		if strings.Trim(text, "0.") != "" {
			sign = "-"
		}
	}
	whole, fraction, pointed := strings.Cut(text, ".")
	var b strings.Builder
	b.WriteString(sign)
	for i, digit := range []byte(whole) {
		if i > 0 && (len(whole)-i)%3 == 0 {
			b.WriteByte(',')
		}
		b.WriteByte(digit)
	}
	if pointed {
		b.WriteString("." + fraction)
	}
	return b.String()
}
