package takeoff_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/quantity"
	"bowroll/perf/takeoff"
	"bowroll/perf/wind"
)

// rolled is a random setting made ready, and its roll.
func rolled(t *testing.T, s takeoff.Setting, f takeoff.Firing) (*takeoff.Runner, *booster.Schedule, takeoff.Roll) {
	t.Helper()
	r, err := takeoff.NewRunner(s)
	if err != nil {
		t.Fatal(err)
	}
	schedule := new(booster.Schedule)
	f.Schedule(schedule, s.Units)
	return r, schedule, r.Roll(schedule)
}

// written is a value as people would write it in a unit, and read again.
func written(t *testing.T, d quantity.Dimension, value float64, unit string) float64 {
	t.Helper()
	in, ok := quantity.In(d, value, unit)
	if !ok {
		t.Fatalf("no unit %s", unit)
	}
	got, err := quantity.Parse(d, strconv.FormatFloat(in, 'g', -1, 64)+" "+unit)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// Kilograms or pounds, metres a second or knots: the same run to 1e-9.
func TestUnitsGiveTheSameRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 1))
	for i := range inputs(t) {
		s, f := randomSetting(rng)
		trade := s
		trade.GrossMassKG = written(t, quantity.Mass, s.GrossMassKG, "lb")
		trade.HeadwindMPS = written(t, quantity.Speed, s.HeadwindMPS, "kt")
		_, _, a := rolled(t, s, f)
		_, _, b := rolled(t, trade, f)
		if a.LiftsOff != b.LiftsOff {
			t.Errorf("case %d: lifts off %v, in trade units %v", i, a.LiftsOff, b.LiftsOff)
			continue
		}
		feet := written(t, quantity.Length, b.RunM, "ft")
		if a.LiftsOff && a.TimeS < 60 && math.Abs(a.RunM-feet) > 1e-9*max(1, a.RunM) {
			t.Errorf("case %d: run %v m, in trade units %v m", i, a.RunM, feet)
		}
	}
}

// A unit without impulse never shortens the run: it is weight and drag.
func TestUnitWithoutImpulseNeverShortens(t *testing.T) {
	rng := rand.New(rand.NewPCG(22, 1))
	for i := range inputs(t) {
		s, _ := randomSetting(rng)
		s.Surface.Upslope = math.Max(0, s.Surface.Upslope) // downhill, weight may push
		bare := s
		bare.Units = nil
		dead := *s.Units[0].Type
		dead.TraceN = make([]float64, len(dead.TraceN))
		s.Units = []booster.Unit{{Type: &dead, GrainTemperatureC: 15}}
		_, _, with := rolled(t, s, takeoff.Firing{Mode: takeoff.Rolling})
		_, _, without := rolled(t, bare, takeoff.Firing{})
		switch {
		case with.LiftsOff && !without.LiftsOff:
			t.Errorf("case %d: lifts off only with a dead unit", i)
		case with.LiftsOff && with.RunM < without.RunM*(1-1e-9):
			t.Errorf("case %d: run %v m with a dead unit, %v m without", i, with.RunM, without.RunM)
		}
	}
}

// Doubling the factor on the run can only take launches away, and the run
// left over has the sign of the answer.
func TestFactorOnlyRemovesAndMarginHasTheSignOfTheAnswer(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 1))
	for i := range inputs(t) {
		s, f := randomSetting(rng)
		r, schedule, _ := rolled(t, s, f)
		d := takeoff.Demand{AvailableM: 20 + rng.Float64()*600, Policy: takeoff.DefaultPolicy()}
		d.Policy.RunFactor = 1 + rng.Float64()
		once := r.Assess(schedule, takeoff.Plan{Firing: f}, d)
		d.Policy.RunFactor *= 2
		twice := r.Assess(schedule, takeoff.Plan{Firing: f}, d)
		if !twice.Verdict.Outcome().Holds() && once.Verdict.Outcome().Holds() {
			t.Errorf("case %d: held as it is (%v) and goes with twice the factor", i, once.Verdict.Outcome())
		}
		long := false
		for _, found := range once.Verdict {
			long = long || found.Outcome == takeoff.RunTooLong || found.Outcome == takeoff.NeverGetsOff
		}
		if long != (once.MarginM < 0) {
			t.Errorf("case %d: margin %v m, yet the run is found too long: %v", i, once.MarginM, long)
		}
	}
}

// Each point of a wind envelope is the single take-off in that wind: at its
// least speed the run fits, just below it does not.
func TestEnvelopePointsAreSingleTakeoffs(t *testing.T) {
	rng := rand.New(rand.NewPCG(24, 1))
	for points := 0; points < inputs(t); {
		s, f := randomSetting(rng)
		r, schedule, roll := rolled(t, s, f)
		if !roll.LiftsOff || roll.RunM == 0 {
			continue
		}
		question := takeoff.LimitQuestion{Units: s.Units, Firing: f, Factor: 1.1, AvailableM: roll.RunM * (0.7 + rng.Float64())}
		least := r.LeastHeadwind(schedule, question)
		if least.Outcome != takeoff.LimitFound || least.Value <= 0 {
			continue
		}
		envelope, err := wind.Envelope(wind.Limits{LeastHeadwindMPS: &least.Value}, wind.FullCredit(), 0, 5)
		if err != nil {
			t.Fatal(err)
		}
		required := func(headwind float64) float64 {
			r.SetHeadwind(headwind)
			f.Schedule(schedule, s.Units)
			return question.Factor * takeoff.ByRun.Of(r.Roll(schedule))
		}
		for _, p := range envelope {
			points++
			if !p.Open {
				continue
			}
			along := *p.LeastMPS * math.Cos(p.RelativeFromDeg*math.Pi/180)
			if over := required(along) - question.AvailableM; over > 1e-5 {
				t.Errorf("%v degrees, %v m/s: run %v m too long", p.RelativeFromDeg, *p.LeastMPS, over)
			}
		}
	}
}
