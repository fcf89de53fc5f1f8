package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Slip is a way in which a number comes to be written wrong.
type Slip int

// The slips that are looked for.
const (
	NoSlip         Slip = iota
	TradeForSI          // the number is of the trade unit: pounds sent as kilograms
	ConvertedTwice      // an SI number converted as if it had been trade: kilograms taken for pounds
	DigitTooMany
	DigitTooFew
)

// mistaken is a pair of units that are taken for each other: the trade unit as
// it is read, and both in words.
type mistaken struct{ trade, tradeWords, wireWords string }

func mistakenFor(d Dimension) (pair mistaken, ok bool) {
	switch d {
	case Mass:
		return mistaken{"lb", "pounds", "kilograms"}, true
	case Length:
		return mistaken{"ft", "feet", "metres"}, true
	case Speed:
		return mistaken{"kt", "knots", "metres a second"}, true
	case Temperature:
		return mistaken{"degF", "degrees Fahrenheit", "degrees Celsius"}, true
	case Pressure:
		return mistaken{"hPa", "hectopascals", "pascals"}, true
	}
	return mistaken{}, false
}

// FindSlip tells which slip would explain a value in d.Unit() that believed
// does not accept: the first of those above after whose correction it does.
// meant is the value then, except for a digit too many or too few, where more
// than one may have been meant. A value that is accepted as it is has no slip;
// neither has one that no single slip explains.
func FindSlip(d Dimension, value float64, believed func(float64) bool) (slip Slip, meant float64) {
	if math.IsNaN(value) || math.IsInf(value, 0) || believed(value) {
		return NoSlip, value
	}
	if pair, ok := mistakenFor(d); ok {
		u, _ := find(d, pair.trade)
		if meant := u.quickly(value); believed(meant) {
			return TradeForSI, meant
		}
		if meant, _ := In(d, value, pair.trade); believed(meant) {
			return ConvertedTwice, meant
		}
	}
	if meant, ok := withoutDigit(value, believed); ok {
		return DigitTooMany, meant
	}
	if meant, ok := withDigit(value, believed); ok {
		return DigitTooFew, meant
	}
	return NoSlip, value
}

// Describe says what the value of a dimension looks like, or nothing.
func (s Slip) Describe(d Dimension) string {
	pair, _ := mistakenFor(d)
	switch s {
	case TradeForSI:
		return "looks like " + pair.tradeWords + ": send " + pair.wireWords
	case ConvertedTwice:
		return "looks like " + pair.wireWords + " taken for " + pair.tradeWords + " and converted: send " + pair.wireWords
	case DigitTooMany:
		return "looks like one digit too many"
	case DigitTooFew:
		return "looks like one digit too few"
	}
	return ""
}

// Within makes the belief that a value lies between two ends, both included.
func Within(low, high float64) func(float64) bool {
	return func(value float64) bool { return value >= low && value <= high }
}

// quickly is toWire in floating point: near enough to judge by.
func (u unit) quickly(number float64) float64 {
	factor, _ := u.scale().Float64()
	offset, _ := strconv.ParseFloat(u.offset, 64)
	return (number + offset) * factor
}

// withoutDigit looks for a believed value among those that lack one digit of
// the value, the point included.
func withoutDigit(value float64, believed func(float64) bool) (float64, bool) {
	text := plainDigits(value)
	for i := range text {
		if text[i] == '-' || text[i] == '.' {
			continue
		}
		if meant, err := strconv.ParseFloat(text[:i]+text[i+1:], 64); err == nil && believed(meant) {
			return meant, true
		}
	}
	return 0, false
}

// withDigit looks for a believed value among those that have one more digit.
func withDigit(value float64, believed func(float64) bool) (float64, bool) {
	// A digit more behind the point changes nothing that matters.
	text, _, _ := strings.Cut(plainDigits(value), ".")
	for i := len(text); i >= 0; i-- {
		if i == 0 && text[0] == '-' {
			continue
		}
		for digit := byte('0'); digit <= '9'; digit++ {
			if meant, err := strconv.ParseFloat(text[:i]+string(digit)+text[i:], 64); err == nil && believed(meant) {
				return meant, true
			}
		}
	}
	return 0, false
}

// plainDigits writes a value without exponent, so far as digits are counted.
func plainDigits(value float64) string {
	if size := math.Abs(value); size >= 1e15 || size < 1e-6 {
		return "0"
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}
