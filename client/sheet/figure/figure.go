// Package figure writes the numbers of the service's answers for people: in the
// units of the trade or in SI, each kind of quantity with as many decimals as it
// is worth, and a dash for what is not there.
package figure

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"bowroll/perf/quantity"
)

// None is written for what is not there.
const None = "-"

// A Measure is how one kind of quantity is written: its dimension and how many
// decimals it takes in the units of the trade and in SI.
type Measure struct {
	Dimension quantity.Dimension
	Trade, SI int
}

// The kinds of quantity that people read.
var (
	Length      = Measure{quantity.Length, 0, 1}
	Height      = Measure{quantity.Length, 0, 0}
	Speed       = Measure{quantity.Speed, 1, 1}
	Mass        = Measure{quantity.Mass, 0, 0}
	Temperature = Measure{quantity.Temperature, 0, 1}
	Pressure    = Measure{quantity.Pressure, 2, 0}
	Force       = Measure{quantity.Force, 0, 0}
)

// Measured writes a number with its unit.
func Measured(system quantity.System, m Measure, value float64) string {
	places := m.Trade
	if system == quantity.SI {
		places = m.SI
	}
	return NoMinusZero(quantity.Format(m.Dimension, value, system, places))
}

// Number writes a number alone, where its unit stands elsewhere.
func Number(system quantity.System, m Measure, value float64) string {
	return Alone(Measured(system, m, value))
}

// Alone is a number that was written with its unit, without it.
func Alone(measured string) string {
	text, _, _ := strings.Cut(measured, " ")
	return text
}

// Unit returns the unit that [Number] writes in.
func Unit(system quantity.System, m Measure) string {
	_, unit, _ := strings.Cut(Measured(system, m, 0), " ")
	return unit
}

// Given writes a number that may be absent.
func Given[T any](value *T, write func(T) string) string {
	if value == nil {
		return None
	}
	return write(*value)
}

// Fixed writes a number with so many decimals.
func Fixed(value float64, places int) string {
	return NoMinusZero(strconv.FormatFloat(value, 'f', places, 64))
}

// Seconds writes a time in seconds.
func Seconds(value float64) string { return Fixed(value, 1) + " s" }

// Percent writes a part of one.
func Percent(value float64) string { return Fixed(value*100, 1) + " %" }

// Bearing writes a direction in three digits, 360 as 000.
func Bearing(degrees float64) string {
	whole := math.Mod(math.Round(degrees), 360)
	if whole < 0 {
		whole += 360
	}
	return fmt.Sprintf("%03.0f deg", whole)
}

// Clock writes the time of day in UTC of something after a start, or the time
// after the start where no start is known.
func Clock(start time.Time, after float64) string {
	if start.IsZero() {
		return fmt.Sprintf("%+.0f min", after/60)
	}
	return start.UTC().Add(time.Duration(after * float64(time.Second))).Format("15:04")
}

// NoMinusZero turns -0.0 into 0.0: a sign that rounding left says nothing.
func NoMinusZero(text string) string {
	if rest, ok := strings.CutPrefix(text, "-"); ok && !strings.ContainsAny(strings.SplitN(rest, " ", 2)[0], "123456789") {
		return rest
	}
	return text
}

// Decimal writes a number with no more decimals than it has, and a comma between
// thousands.
func Decimal(value float64) string {
	return Grouped(NoMinusZero(strconv.FormatFloat(math.Round(value*1e6)/1e6, 'f', -1, 64)))
}

// Grouped sets a comma between the thousands of a number that is written.
func Grouped(number string) string {
	whole, rest, found := strings.Cut(number, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if found {
		whole += "." + rest
	}
	return sign + whole
}
