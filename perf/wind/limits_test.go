package wind

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"bowroll/perf/violation"
)

func some(v float64) *float64 { return &v }

func drawLimits(t *rapid.T) Limits {
	draw := func(name string, low, high float64) *float64 {
		if rapid.IntRange(0, 3).Draw(t, "no "+name) == 0 {
			return nil
		}
		return some(rapid.Float64Range(low, high).Draw(t, name))
	}
	return Limits{
		LeastHeadwindMPS:     draw("least headwind", -8, 25),
		GreatestCrosswindMPS: draw("crosswind limit", 0.5, 15),
		GreatestTailwindMPS:  draw("tailwind limit", 0, 6),
		CeilingMPS:           draw("ceiling", 8, 35),
	}
}

// keeps tells by the definitions alone whether a wind over deck keeps l.
func (l Limits) keeps(headwind, credited, crosswind, speed, slack float64) bool {
	return (l.LeastHeadwindMPS == nil || credited >= *l.LeastHeadwindMPS-slack) &&
		(l.GreatestHeadwindMPS == nil || credited <= *l.GreatestHeadwindMPS+slack) &&
		(l.GreatestCrosswindMPS == nil || math.Abs(crosswind) <= *l.GreatestCrosswindMPS+slack) &&
		(l.GreatestTailwindMPS == nil || -headwind <= *l.GreatestTailwindMPS+slack) &&
		(l.CeilingMPS == nil || speed <= *l.CeilingMPS+slack)
}

// Winds inside the envelope keep every limit, winds outside break one.
func TestEnvelopeAgainstTheDefinitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limits, credit := drawLimits(t), drawCredit(t)
		if rapid.Bool().Draw(t, "has greatest headwind") {
			limits.GreatestHeadwindMPS = some(rapid.Float64Range(-5, 30).Draw(t, "greatest headwind"))
		}
		own := rapid.Float64Range(0, 15).Draw(t, "own")
		points, err := Envelope(limits, credit, own, 5)
		if err != nil || len(points) != 72 {
			t.Fatal(len(points), err)
		}
		for _, p := range points {
			sin, cos := sincos(p.RelativeFromDeg)
			for speed := 0.0; speed <= 50; speed += 0.37 {
				headwind := speed * cos
				credited := own + credit.Natural(headwind-own)
				in := p.Open && speed >= *p.LeastMPS && (p.GreatestMPS == nil || speed <= *p.GreatestMPS)
				if in && !limits.keeps(headwind, credited, speed*sin, speed, 1e-9) {
					t.Fatalf("%+v holds %v m/s, which breaks a limit", p, speed)
				}
				if !in && limits.keeps(headwind, credited, speed*sin, speed, -1e-9) {
					t.Fatalf("%+v leaves out %v m/s, which keeps every limit", p, speed)
				}
			}
		}
	})
}

func TestEnvelopeNamesWhatBinds(t *testing.T) {
	points, err := Envelope(Limits{some(10), nil, some(5), some(2), some(20)}, FullCredit(), 0, 15)
	if err != nil {
		t.Fatal(err)
	}
	ahead, fifteen, thirty, astern := points[0], points[1], points[2], points[12]
	if !ahead.Open || *ahead.LeastMPS != 10 || *ahead.GreatestMPS != 20 || ahead.LeastBinds != Headwind || ahead.GreatestBinds != Ceiling {
		t.Errorf("ahead: %+v", ahead)
	}
	if !fifteen.Open || fifteen.GreatestBinds != Crosswind {
		t.Errorf("15 degrees: %+v", fifteen)
	}
	if thirty.Open || thirty.LeastBinds != Headwind || thirty.GreatestBinds != Crosswind {
		t.Errorf("30 degrees: 11.5 m/s wanted, 10 m/s allowed: %+v", thirty)
	}
	if astern.Open || astern.LeastBinds != Headwind || astern.GreatestBinds != Tailwind {
		t.Errorf("astern: %+v", astern)
	}
}

// A course found for a load with a greatest headwind keeps it, whatever is
// credited.
func TestCourseKeepsTheGreatestHeadwind(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		least := rapid.Float64Range(0, 12).Draw(t, "least")
		most := least + rapid.Float64Range(0, 10).Draw(t, "window")
		answer, err := FindCourse(CourseQuery{
			Wind:   Steady(rapid.Float64Range(0, 359).Draw(t, "from"), rapid.Float64Range(0, 20).Draw(t, "wind")),
			Credit: drawCredit(t), Ship: ShipRange{GreatestMPS: 15},
			Loads: []Load{{"a", Limits{LeastHeadwindMPS: &least, GreatestHeadwindMPS: &most}}},
		})
		if err != nil {
			t.Fatal(err)
		}
		if o := answer.Recommended; o != nil && (o.Wind.CreditedHeadwindMPS < least-1e-6 || o.Wind.CreditedHeadwindMPS > most+1e-6) {
			t.Fatalf("%g credited, allowed %g to %g", o.Wind.CreditedHeadwindMPS, least, most)
		}
	})
}

func TestEnvelopeRefusesWithEveryFault(t *testing.T) {
	_, err := Envelope(Limits{GreatestCrosswindMPS: some(-1), CeilingMPS: some(math.NaN())}, Credit{2, 0}, math.Inf(1), 0)
	var faults violation.List
	if !errors.As(err, &faults) || len(faults) != 6 {
		t.Fatalf("%v", err)
	}
}
