package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A measure is how one kind of quantity is drawn: its dimension and how many
// decimals it takes in the units of the trade and in SI.
type measure struct {
	dimension quantity.Dimension
	trade, si int
}

var (
	length      = measure{quantity.Length, 0, 1}
	height      = measure{quantity.Length, 0, 0}
	speed       = measure{quantity.Speed, 1, 1}
	mass        = measure{quantity.Mass, 0, 0}
	temperature = measure{quantity.Temperature, 0, 1}
	pressure    = measure{quantity.Pressure, 2, 0}
)

// measured draws a number with its unit.
func (p *page) measured(m measure, value float64) string {
	places := m.trade
	if p.style.Units == quantity.SI {
		places = m.si
	}
	return noMinusZero(quantity.Format(m.dimension, value, p.style.Units, places))
}

// number draws a number alone, for a table whose caption names the unit.
func (p *page) number(m measure, value float64) string {
	text, _, _ := strings.Cut(p.measured(m, value), " ")
	return text
}

// unit returns the unit that number draws in.
func (p *page) unit(m measure) string {
	_, unit, _ := strings.Cut(p.measured(m, 0), " ")
	return unit
}

// given draws a number that may be absent.
func given[T any](value *T, draw func(T) string) string {
	if value == nil {
		return none
	}
	return draw(*value)
}

func (p *page) givenNumber(m measure, value *float64) string {
	return given(value, func(v float64) string { return p.number(m, v) })
}

func (p *page) givenMeasured(m measure, value *float64) string {
	return given(value, func(v float64) string { return p.measured(m, v) })
}

// limit draws a limit found by search.
func (p *page) limit(m measure, l *bowrollv1.Limit) string {
	switch l.GetState() {
	case bowrollv1.LimitState_LIMIT_STATE_FOUND:
		return p.number(m, l.GetValue())
	case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		return "any"
	}
	return none
}

// noMinusZero turns -0.0 into 0.0: a sign that rounding left says nothing.
func noMinusZero(text string) string {
	if rest, ok := strings.CutPrefix(text, "-"); ok && !strings.ContainsAny(strings.SplitN(rest, " ", 2)[0], "123456789") {
		return rest
	}
	return text
}

// fixed draws a number with so many decimals.
func fixed(value float64, places int) string {
	return noMinusZero(strconv.FormatFloat(value, 'f', places, 64))
}

// figures draws a number with so many significant figures.
func figures(value float64, count int) string {
	if value != 0 && (math.Abs(value) < 1e-4 || math.Abs(value) >= 1e9) {
		return strconv.FormatFloat(value, 'e', count-1, 64)
	}
	return strconv.FormatFloat(value, 'g', count, 64)
}

func seconds(value float64) string { return fixed(value, 1) + " s" }

func percent(value float64) string { return fixed(value*100, 1) + " %" }

// bearing draws a direction in three digits, 360 as 000.
func bearing(degrees float64) string {
	whole := math.Mod(math.Round(degrees), 360)
	if whole < 0 {
		whole += 360
	}
	return fmt.Sprintf("%03.0f deg", whole)
}

// digits draws a count.
func digits(n int) string { return strconv.Itoa(n) }

// clock draws the time of day of a launch, in UTC, or the time after the start
// where no start is known.
func clock(start time.Time, after float64) string {
	if start.IsZero() {
		return fmt.Sprintf("%+.0f min", after/60)
	}
	return start.UTC().Add(time.Duration(after * float64(time.Second))).Format("15:04")
}

// side draws a component across the axis, positive from starboard.
func (p *page) side(crosswind float64) string {
	text := p.measured(speed, math.Abs(crosswind))
	switch number, _, _ := strings.Cut(text, " "); {
	case strings.Trim(number, "0.") == "":
		return text
	case crosswind > 0:
		return text + " from starboard"
	}
	return text + " from port"
}

// along draws a component along the axis, positive from ahead.
func (p *page) along(headwind float64) string {
	if headwind < 0 {
		return "tailwind " + p.measured(speed, -headwind)
	}
	return "headwind " + p.measured(speed, headwind)
}
