package sheet

import (
	"math"
	"strconv"
	"strings"
	"time"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// The kinds of quantity that sheets draw, and how numbers are written.
type measure = figure.Measure

var (
	length      = figure.Length
	height      = figure.Height
	speed       = figure.Speed
	mass        = figure.Mass
	temperature = figure.Temperature
	pressure    = figure.Pressure
)

// measured draws a number with its unit.
func (p *page) measured(m measure, value float64) string {
	return figure.Measured(p.style.Units, m, value)
}

// number draws a number alone, for a table whose caption names the unit.
func (p *page) number(m measure, value float64) string {
	return figure.Number(p.style.Units, m, value)
}

// unit returns the unit that number draws in.
func (p *page) unit(m measure) string { return figure.Unit(p.style.Units, m) }

// given draws a number that may be absent.
func given[T any](value *T, draw func(T) string) string { return figure.Given(value, draw) }

func (p *page) givenNumber(m measure, value *float64) string {
	return given(value, func(v float64) string { return p.number(m, v) })
}

func (p *page) givenMeasured(m measure, value *float64) string {
	return given(value, func(v float64) string { return p.measured(m, v) })
}

// atLeast draws a least limit rounded up, and atMost a greatest one rounded down.
func (p *page) atLeast(m measure, value float64) string {
	return figure.AtLeast(p.style.Units, m, value)
}

func (p *page) atMost(m measure, value float64) string {
	return figure.AtMost(p.style.Units, m, value)
}

// givenAtMost draws a greatest limit, which may be absent, without its unit.
func (p *page) givenAtMost(m measure, value *float64) string {
	return given(value, func(v float64) string { return figure.Alone(p.atMost(m, v)) })
}

// leastFound draws a least limit found by search, without its unit.
func (p *page) leastFound(m measure, l *bowrollv1.Limit) string {
	switch l.GetState() {
	case bowrollv1.LimitState_LIMIT_STATE_FOUND:
		return figure.Alone(p.atLeast(m, l.GetValue()))
	case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		return "any"
	}
	return none
}

// fixed draws a number with so many decimals.
func fixed(value float64, places int) string { return figure.Fixed(value, places) }

// figures draws a number with so many significant figures.
func figures(value float64, count int) string {
	if value != 0 && (math.Abs(value) < 1e-4 || math.Abs(value) >= 1e9) {
		return strconv.FormatFloat(value, 'e', count-1, 64)
	}
	return strconv.FormatFloat(value, 'g', count, 64)
}

func seconds(value float64) string { return figure.Seconds(value) }

func percent(value float64) string { return figure.Percent(value) }

// bearing draws a direction in three digits, 360 as 000.
func bearing(degrees float64) string { return figure.Bearing(degrees) }

// digits draws a count.
func digits(n int) string { return strconv.Itoa(n) }

// clock draws the time of day of a launch, in UTC, or the time after the start
// where no start is known.
func clock(start time.Time, after float64) string { return figure.Clock(start, after) }

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
