package chance_test

import (
	"context"
	"math"
	"reflect"
	"runtime"
	"testing"
	"time"

	"pgregory.net/rapid"

	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	"bowroll/perf/violation"
)

// drawCase draws a case within what planners meet.
func drawCase(tb testing.TB, t *rapid.T) *chance.Case {
	c := light(tb, rapid.Float64Range(5, 32).Draw(t, "headwind_kt"), 2*rapid.IntRange(0, 3).Draw(t, "pairs"))
	in := func(name string, most float64) float64 { return rapid.Float64Range(0, most).Draw(t, name) }
	c.Dispersions = chance.Dispersions{
		ReactionS: in("reaction", 0.6), HeadwindMPS: in("wind", 2), GrossMass: in("mass", 0.03), TemperatureC: in("temperature", 5),
		RollingFriction: in("friction", 0.2), EngineThrust: in("engine", 0.03), CLMax: in("lift", 0.03),
		LotThrust: in("lot thrust", 0.04), LotBurnTime: in("lot time", 0.04),
		UnitThrust: new(in("unit thrust", 0.04)), UnitBurnTime: new(in("unit time", 0.04)),
		IgnitionDelayS: new(in("delay", 0.1)), DudProbability: new(in("dud", 0.1)),
	}
	return c
}

func drawFiring(t *rapid.T) takeoff.Firing {
	if rapid.Bool().Draw(t, "brakes") {
		return takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: rapid.Float64Range(0, 1.5).Draw(t, "reaction_s")}
	}
	return takeoff.Firing{Mode: takeoff.Rolling, DelayS: rapid.Float64Range(0, 10).Draw(t, "delay_s")}
}

func evaluate(tb rapid.TB, c *chance.Case, q chance.Question, sample *chance.Sample, workers int) chance.Result {
	tb.Helper()
	r, err := chance.Evaluate(context.Background(), c, q, sample, workers)
	if err != nil {
		tb.Fatal(err)
	}
	return r
}

// More run never makes lift-off less likely, a higher percentile is never
// shorter, shares lie between 0 and 1, and nothing is not a number.
func TestEvaluateProperties(t *testing.T) {
	sample := chance.NewSample(3, 16, 16)
	rapid.Check(t, func(rt *rapid.T) {
		c, f := drawCase(t, rt), drawFiring(rt)
		available := rapid.Float64Range(20, 300).Draw(rt, "available")
		percentile := rapid.Float64Range(0.5, 0.99).Draw(rt, "percentile")
		r := evaluate(rt, c, chance.Question{Firing: f, AvailableM: available, Percentile: percentile}, sample, 1)
		longer := evaluate(rt, c, chance.Question{Firing: f, AvailableM: available * 1.1, Percentile: percentile}, sample, 2)
		if longer.Probability < r.Probability {
			rt.Errorf("probability %g in %g m, %g in a tenth more", r.Probability, available, longer.Probability)
		}
		if !(r.P50M <= r.PercentileM && (percentile > 0.99 || r.PercentileM <= r.P99M)) {
			rt.Errorf("percentiles %g, %g, %g", r.P50M, r.PercentileM, r.P99M)
		}
		if r.PercentileM <= available && r.Probability < percentile-1e-12 || r.PercentileM > available && r.Probability > percentile+1e-12 {
			rt.Errorf("P%g %g m, probability of %g m %g", 100*percentile, r.PercentileM, available, r.Probability)
		}
		for _, s := range r.Shares {
			if !(s.Share > 0 && s.Share <= 1) {
				rt.Errorf("share of %v %g", s.Source, s.Share)
			}
		}
		if math.IsNaN(r.StandardError + r.SigmaM + r.Unassigned) {
			rt.Errorf("not a number: %+v", r)
		}
	})
}

// Without dispersions every draw is the nominal take-off.
func TestNoDispersionIsTheNominal(t *testing.T) {
	sample := chance.NewSample(3, 16, 4)
	rapid.Check(t, func(rt *rapid.T) {
		c, f := drawCase(t, rt), drawFiring(rt)
		c.Dispersions = chance.Dispersions{
			UnitThrust: new(0.0), UnitBurnTime: new(0.0), IgnitionDelayS: new(0.0), DudProbability: new(0.0),
		}
		r := evaluate(rt, c, chance.Question{Firing: f, AvailableM: 100, Percentile: 0.9}, sample, 1)
		s := chance.Screen(c, f, 100)
		if math.Abs(r.P50M-s.NominalM) > 1e-3*s.NominalM || math.Abs(r.P99M-s.NominalM) > 1e-3*s.NominalM || r.SigmaM > 1e-6 {
			rt.Errorf("run %g to %g m, nominal %g m", r.P50M, r.P99M, s.NominalM)
		}
	})
}

// The firing planned fits and is covered where any firing reported is, and none of
// those has a lesser percentile.
func TestPlannedIsTheBestReported(t *testing.T) {
	sample := chance.NewSample(4, 16, 32)
	var planner chance.Planner
	rapid.Check(t, func(rt *rapid.T) {
		c := drawCase(t, rt)
		policy := takeoff.DefaultPolicy()
		policy.Legs = takeoff.LegRule(rapid.IntRange(0, 3).Draw(rt, "legs"))
		search := chance.Search{
			AvailableM: rapid.Float64Range(30, 300).Draw(rt, "available"), Policy: policy, Percentile: 0.95,
			Brakes: true, ReactionS: 0.5, House: takeoff.HouseRules(), Times: 12, Look: 32, Refine: 48, Report: 64,
		}
		plan, err := planner.Plan(context.Background(), c, search, sample)
		if err != nil {
			rt.Fatal(err)
		}
		if plan.Covered != plan.Legs.Covered {
			rt.Errorf("covered %t, by its legs %t", plan.Covered, plan.Legs.Covered)
		}
		others := []chance.Option{plan.Best}
		if plan.OnBrakes.HoldMarginN >= 0 {
			others = append(others, *plan.OnBrakes)
		}
		for _, o := range others {
			if o.Fits && !plan.Fits || o.Fits == plan.Fits && o.Covered && !plan.Covered {
				rt.Errorf("%+v fits %t, covered %t; %+v planned %t, %t", o.Firing, o.Fits, o.Covered, plan.Firing, plan.Fits, plan.Covered)
			}
			if o.Fits == plan.Fits && o.Covered == plan.Covered && o.PercentileM < plan.PercentileM {
				rt.Errorf("%+v has %g m, %+v planned %g m", o.Firing, o.PercentileM, plan.Firing, plan.PercentileM)
			}
		}
		if again, err := chance.PlanFiring(context.Background(), c, search, sample); err != nil || !reflect.DeepEqual(again, plan) {
			rt.Errorf("a second planner plans %+v, the first %+v (%v)", again.Option, plan.Option, err)
		}
	})
}

// The same bits on one core and on two, for any number of goroutines.
func TestSameBitsOnAnyNumberOfCores(t *testing.T) {
	c := light(t, 25, 4)
	c.Dispersions.DudProbability = new(0.02)
	q := chance.Question{Firing: takeoff.Firing{Mode: takeoff.Rolling, DelayS: 3}, AvailableM: 70, Percentile: 0.95}
	var first chance.Result
	before := runtime.GOMAXPROCS(0)
	defer runtime.GOMAXPROCS(before)
	for i, cores := range []int{1, 2, 2, 1} {
		runtime.GOMAXPROCS(cores)
		r := evaluate(t, c, q, chance.NewSample(1, 16, 200), 1+2*i)
		if i == 0 {
			first = r
		} else if !reflect.DeepEqual(r, first) {
			t.Errorf("%d cores, %d goroutines: %+v, before %+v", cores, 1+2*i, r, first)
		}
	}
}

// A longer coordinate list leaves the coordinates that were there as they were.
func TestSampleGrowsWithoutChanging(t *testing.T) {
	grown, fresh := chance.NewSample(9, 4, 64), chance.NewSample(9, 4, 64)
	small, large := light(t, 25, 2), light(t, 25, 6)
	q := chance.Question{Firing: takeoff.Firing{Mode: takeoff.Rolling, DelayS: 3}, AvailableM: 100, Percentile: 0.95}
	evaluate(t, small, q, grown, 1)
	a := evaluate(t, large, q, grown, 1)
	b := evaluate(t, large, q, fresh, 1)
	if !reflect.DeepEqual(a, b) {
		t.Errorf("grown %+v, fresh %+v", a, b)
	}
	if c, d := evaluate(t, small, q, grown, 1), evaluate(t, small, q, chance.NewSample(9, 4, 64), 1); !reflect.DeepEqual(c, d) {
		t.Errorf("after growing %+v, before %+v", c, d)
	}
}

func TestStopsWithTheContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	c := light(t, 25, 4)
	started := time.Now()
	if _, err := chance.Evaluate(ctx, c, chance.Question{AvailableM: 100}, chance.NewSample(1, 16, 625), 2); err != context.Canceled {
		t.Errorf("evaluating: %v", err)
	}
	if _, err := chance.PlanFiring(ctx, c, chance.Search{AvailableM: 100, Policy: takeoff.DefaultPolicy(), Percentile: 0.95}, chance.NewSample(1, 16, 625)); err != context.Canceled {
		t.Errorf("planning: %v", err)
	}
	if took := time.Since(started); took > time.Minute {
		t.Errorf("took %v", took)
	}
}

func TestValidateNamesEveryDispersion(t *testing.T) {
	c := light(t, 25, 2)
	c.Lots = []int{0, 5}
	c.Dispersions.ReactionS, c.Dispersions.GrossMass = -1, math.NaN()
	c.Dispersions.UnitThrust = new(2.0)
	err := c.Validate()
	if err == nil {
		t.Fatal("passes")
	}
	for _, field := range []string{"lots[1]", "dispersions.reaction_s", "dispersions.gross_mass", "dispersions.unit_thrust"} {
		if !containsField(err, field) {
			t.Errorf("%q is not named in %v", field, err)
		}
	}
}

func containsField(err error, field string) bool {
	list, ok := err.(violation.List)
	for i := range list {
		if ok && list[i].Field == field {
			return true
		}
	}
	return false
}
