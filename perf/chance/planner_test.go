package chance_test

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
)

// The aircraft and unit of the planner cases, which were computed with a simpler
// model that this one contains; no published source.

const knot = 0.514444

func expected(tb testing.TB, id string) map[string]any {
	tb.Helper()
	data, err := os.ReadFile("../../testdata/vectors/planner_cases.json")
	if err != nil {
		tb.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID       string         `json:"id"`
			Expected map[string]any `json:"expected"`
		} `json:"cases"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		tb.Fatal(err)
	}
	for _, c := range file.Cases {
		if c.ID == id {
			return c.Expected
		}
	}
	tb.Fatalf("no planner case %s", id)
	return nil
}

func list(e map[string]any, key string) (values []float64) {
	for _, v := range e[key].([]any) {
		values = append(values, v.(float64))
	}
	return values
}

// light is the aircraft REF-1 of the planner cases with so many units, in a
// headwind in knots.
func light(tb testing.TB, headwindKT float64, units int) *chance.Case {
	tb.Helper()
	altitude, temperature := 0.0, 15.0
	day, err := air.At(air.Conditions{PressureAltitudeM: &altitude, TemperatureC: &temperature})
	if err != nil {
		tb.Fatal(err)
	}
	kind := &booster.Type{
		TraceS: []float64{0, 4}, TraceN: []float64{11000, 11000},
		LoadedMassKG: 75, PropellantMassKG: 22, IgnitionDelayS: 0.15,
		PressureSensitivityPerK: 0.0020, ReferenceTemperatureC: 15,
		ThrustSigma: new(0.03), BurnTimeSigma: new(0.03), IgnitionDelaySigmaS: new(0.04), HangFireAllowanceS: new(0.3),
	}
	s := takeoff.Setting{
		Aircraft: &aircraft.Type{
			WingAreaM2: 30, SpanM: 15, Oswald: 0.8,
			Flaps: []aircraft.Flap{{CLMax: 1.9, CLRoll: 0.5, CD0: 0.090}},
			Thrust: aircraft.ThrustTable{
				AirspeedMPS: []float64{0, 1 / 0.0075}, ThrustN: []float64{18000, 0}, DensityExponent: 1,
			},
			LiftoffFactor: 1.10, EmptyMassKG: 4000, MaxMassKG: 9500,
		},
		GrossMassKG: 5500, Air: day, HeadwindMPS: headwindKT * knot,
		Surface: takeoff.Surface{RollingFriction: 0.03, BrakingFriction: 0.35},
	}
	for i := range units {
		s.Units = append(s.Units, booster.Unit{Type: kind, GrainTemperatureC: 15, LateralM: []float64{-0.9, 0.9}[i%2]})
	}
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		tb.Fatal(err)
	}
	return &chance.Case{Runner: runner, Units: s.Units, Dispersions: chance.Dispersions{
		ReactionS: 0.3, HeadwindMPS: 2 * knot, GrossMass: 0.015, EngineThrust: 0.02, CLMax: 0.02, RollingFriction: 0.15,
	}}
}

// The planner case draws the ignition lag as 0.15 + 0.05 |N|, which is never
// early. Mean and deviation of that are put in the place of the nominal delay
// and its dispersion.
func lagged(c *chance.Case) *chance.Case {
	mean := 0.05 * math.Sqrt(2/math.Pi)
	kind := *c.Units[0].Type
	kind.IgnitionDelayS += mean
	kind.IgnitionDelaySigmaS = new(math.Sqrt(0.05*0.05 - mean*mean))
	units := append([]booster.Unit(nil), c.Units...)
	for i := range units {
		units[i].Type = &kind
	}
	return &chance.Case{Runner: c.Runner, Units: units, Dispersions: c.Dispersions}
}

func TestPlannerFiringUnderUncertainty(t *testing.T) {
	e := expected(t, "D15")
	c := lagged(light(t, 25, 2))
	sample := chance.NewSample(1, 16, 1000)
	mean, high, highest := list(e, "mean_m"), list(e, "p95_m"), list(e, "p99_m")
	for i, delay := range list(e, "delay_s") {
		r, err := chance.Evaluate(context.Background(), c, chance.Question{
			Firing: takeoff.Firing{Mode: takeoff.Rolling, DelayS: delay}, AvailableM: 130, Percentile: 0.95,
		}, sample, 2)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%g s: mean %.1f (%.1f), P95 %.1f (%.1f), P99 %.1f (%.1f), P %.4f +- %.4f", delay,
			r.MeanM, mean[i], r.PercentileM, high[i], r.P99M, highest[i], r.Probability, r.StandardError)
		within(t, "mean", r.MeanM, mean[i], 0.7)
		within(t, "P95", r.PercentileM, high[i], 2)
	}
	plan, err := chance.PlanFiring(context.Background(), c, chance.Search{
		AvailableM: 130, Policy: takeoff.DefaultPolicy(), Percentile: 0.95, Brakes: true, ReactionS: 0.5,
		House: takeoff.HouseRules(),
	}, sample)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("planned %+v nominal %.1f P95 %.1f covered %t; best %+v %.1f P95 %.1f", plan.Firing, plan.Nominal.RunM, plan.PercentileM, plan.Covered,
		plan.Best.Firing, plan.Best.Nominal.RunM, plan.Best.PercentileM)
	// The nominal best is 3.04 s and 90.7 m with a P95 of 139.7 m; fired near 4.5 s
	// the P95 is least, 112.8 m.
	within(t, "nominal best", plan.Best.Firing.DelayS, 3.04, 0.06)
	within(t, "planned", plan.Firing.DelayS, 4.5, 0.3)
	within(t, "planned P95", plan.PercentileM, 112.8, 2)
	within(t, "P95 of the nominal best", plan.Best.PercentileM, 139.7, 3)
}

func within(t *testing.T, what string, got, want, allowed float64) {
	t.Helper()
	if !(math.Abs(got-want) <= allowed) {
		t.Errorf("%s: got %.6g, want %.6g within %.3g", what, got, want, allowed)
	}
}
