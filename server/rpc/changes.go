package rpc

import (
	"fmt"
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// moving is the wind as vectors: the natural wind, and what it meets.
type moving struct {
	natural wind.Natural
	ship    wind.Ship
	steers  bool // a ship that may turn
}

// track is the heading of the launch axis, degrees true, where it is known.
func track(c *bowrollv1.TakeoffCase, deck *bowrollv1.Deck, site *bowrollv1.Site) *float64 {
	var heading float64
	switch {
	case c.GetDeck() == "" && c.AxisHeadingDeg != nil:
		heading = c.GetAxisHeadingDeg()
	case c.GetShip() != nil:
		heading = c.GetShip().GetCourseDeg() + deck.GetAxisOffsetDeg()
	case c.AxisHeadingDeg != nil:
		heading = c.GetAxisHeadingDeg()
	case c.GetDeck() != "" && site.GetGreatestSpeedMps() == 0:
		heading = deck.GetAxisOffsetDeg()
	default:
		return nil
	}
	heading = math.Mod(heading+720, 360)
	return &heading
}

// addChanges says what single changes would clear what was found, the cheapest
// first. Of several findings of one outcome the first alone is looked into.
func (r *run) addChanges(out *bowrollv1.Takeoff, a *takeoff.Assessment) {
	question := takeoff.ChangeQuestion{
		Plan:   takeoff.Plan{Firing: a.Firing, Search: r.res.Best, Failures: a.Legs != nil},
		Demand: demand(r.res), Fits: r.fits(),
	}
	if r.res.Best {
		question.Plan.Firing = r.res.Firing
	}
	seen := map[takeoff.Outcome]bool{}
	for i, f := range a.Verdict {
		if seen[f.Outcome] {
			continue
		}
		seen[f.Outcome] = true
		var list []*bowrollv1.Change
		switch f.Outcome {
		case takeoff.GetsOff, takeoff.DataMissing, takeoff.ProbabilityTooLow:
		case takeoff.CrosswindExceeded, takeoff.TailwindExceeded, takeoff.DeckCeilingExceeded:
			list = r.windChanges(f)
		case takeoff.NotWorthFitting:
			if without, err := bare(r.res); err == nil {
				asked := question
				asked.Plan.Bare = without
				list = changesAnswer(r.runner.Changes(&r.schedule, a, asked, f))
			}
		default:
			list = changesAnswer(r.runner.Changes(&r.schedule, a, question, f))
		}
		out.Findings[i].Changes = list
	}
}

// fits are the loadings of the type in order of the units they take, the bare
// aircraft first. Without stations the type has none to offer.
func (r *run) fits() [][]booster.Unit {
	units := r.res.Setting.Units
	if len(units) == 0 {
		return nil
	}
	fits := [][]booster.Unit{{}}
	for _, l := range r.res.Case.GetAircraft().GetLoadings() {
		count := int(l.GetUnitCount())
		fits = append(fits, fitUnits(nil, units[0].Type, stationsFor(nil, r.res, count, &faults{}), units[0].GrainTemperatureC))
	}
	return fits
}

func changesAnswer(changes []takeoff.Change) []*bowrollv1.Change {
	var list []*bowrollv1.Change
	for _, c := range changes {
		change := &bowrollv1.Change{Change: c.By}
		size := math.Abs(c.By)
		switch c.Input {
		case takeoff.InputCommand:
			change.Quantity, change.Text = "delay_s", fmt.Sprintf("firing %.1f s after brake release", c.To)
		case takeoff.InputHeadwind:
			change.Quantity, change.Text = "credited_headwind_mps", fmt.Sprintf("%.1f m/s more headwind", size)
		case takeoff.InputAvailable:
			change.Quantity, change.Text = "available_m", fmt.Sprintf("%.1f m more run", size)
		case takeoff.InputUnits:
			change.Quantity, change.Text = "unit_count", fmt.Sprintf("%.0f units instead, fired anew", c.To)
			if c.To == 0 {
				change.Text = "no units"
			}
		case takeoff.InputMass:
			change.Quantity, change.Text = "gross_mass_kg", fmt.Sprintf("%.0f kg less mass", size)
		}
		list = append(list, change)
	}
	return list
}

// windChanges clears a limit of the wind: the least turn of the ship that brings
// the wind inside every limit, and the wind itself.
func (r *run) windChanges(f takeoff.Finding) []*bowrollv1.Change {
	var list []*bowrollv1.Change
	if by, ok := r.turn(); ok {
		side := "starboard"
		if by < 0 {
			side = "port"
		}
		list = append(list, &bowrollv1.Change{
			Quantity: "course_deg", Change: by, Text: fmt.Sprintf("the ship %.0f degrees to %s", math.Abs(by), side),
		})
	}
	short := f.Shortfall()
	switch f.Outcome {
	case takeoff.CrosswindExceeded:
		by := math.Copysign(short, -r.res.Wind.GetCrosswindMps())
		list = append(list, &bowrollv1.Change{Quantity: "crosswind_mps", Change: by, Text: fmt.Sprintf("%.1f m/s less crosswind", short)})
	case takeoff.TailwindExceeded:
		list = append(list, &bowrollv1.Change{Quantity: "headwind_mps", Change: short, Text: fmt.Sprintf("%.1f m/s more headwind", short)})
	default:
		list = append(list, &bowrollv1.Change{
			Quantity: "wind_over_deck_mps", Change: -short, Text: fmt.Sprintf("%.1f m/s less wind over deck", short),
		})
	}
	return list
}

// turn finds the least turn at the same speed, in whole degrees, that keeps the
// wind inside the limits of deck and type, and no less headwind than now.
func (r *run) turn() (degrees float64, ok bool) {
	m, limits := r.res.Moving, r.res.Limits
	if m == nil || !m.steers {
		return 0, false
	}
	inside := func(by float64) bool {
		turned := m.ship
		turned.CourseDeg = math.Mod(turned.CourseDeg+by+360, 360)
		used := m.natural.Use(turned, credit(r.res.Policy))
		over := func(value float64, limit *float64) bool { return limit != nil && value > *limit }
		return !over(math.Abs(used.CrosswindMPS), limits.CrosswindMPS) && !over(used.TailwindMPS, limits.TailwindMPS) &&
			!over(used.GreatestSpeedMPS, limits.CeilingMPS) && used.CreditedHeadwindMPS >= r.res.Wind.GetCreditedHeadwindMps()
	}
	for by := 1.0; by <= 180; by++ {
		for _, way := range [2]float64{by, -by} {
			if inside(way) {
				return way, true
			}
		}
	}
	return 0, false
}
