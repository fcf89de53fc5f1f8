package chance_test

import (
	"context"
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
)

// plain samples a case the slow and obvious way: pseudo-random numbers, redrawn
// beyond three sigmas, each take-off prepared anew from its setting and rolled
// exactly.
func plain(tb testing.TB, c *chance.Case, f takeoff.Firing, n int) []float64 {
	tb.Helper()
	rng := rand.New(rand.NewPCG(11, 12))
	normal := func() float64 {
		for {
			if z := rng.NormFloat64(); math.Abs(z) <= 3 {
				return z
			}
		}
	}
	of := func(given, stated *float64) float64 {
		if given != nil {
			return *given
		}
		if stated != nil {
			return *stated
		}
		return 0
	}
	d := &c.Dispersions
	var runner takeoff.Runner
	var schedule booster.Schedule
	runs := make([]float64, n)
	for i := range runs {
		s := c.Runner.Setting()
		kind := *s.Aircraft
		kind.Flaps = append(kind.Flaps[:0:0], kind.Flaps...)
		kind.Thrust.ThrustN = append([]float64(nil), kind.Thrust.ThrustN...)
		s.Aircraft = &kind
		s.GrossMassKG *= 1 + d.GrossMass*normal()
		s.HeadwindMPS += d.HeadwindMPS * normal()
		s.Surface.RollingFriction *= 1 + d.RollingFriction*normal()
		kind.Flaps[s.Flap].CLMax *= 1 + d.CLMax*normal()
		engine := 1 + d.EngineThrust*normal()
		for j := range kind.Thrust.ThrustN {
			kind.Thrust.ThrustN[j] *= engine
		}
		s.Air.DensityKgM3 = air.DensityKgM3(s.Air.PressurePa, s.Air.TemperatureC+d.TemperatureC*normal(), s.Air.RelativeHumidity)
		lotThrust, lotTime := d.LotThrust*normal(), d.LotBurnTime*normal()
		reaction := d.ReactionS * normal()
		units := append([]booster.Unit(nil), c.Units...)
		shortest := math.Inf(1)
		for j := range units {
			u := &units[j]
			u.ThrustDeviation += lotThrust + of(d.UnitThrust, u.Type.ThrustSigma)*normal()
			u.RateDeviation += lotTime + of(d.UnitBurnTime, u.Type.BurnTimeSigma)*normal()
			u.LateS = max(0, u.Type.IgnitionDelayS+of(d.IgnitionDelayS, u.Type.IgnitionDelaySigmaS)*normal()) - u.Type.IgnitionDelayS
			u.Dud = rng.Float64() < of(d.DudProbability, u.Type.DudProbability)
			if !u.Dud {
				shortest = min(shortest, u.Type.IgnitionDelayS+u.LateS)
			}
		}
		if err := runner.Reset(s); err != nil {
			tb.Fatal(err)
		}
		switch f.Mode {
		case takeoff.Rolling:
			schedule.Build(units, max(0, f.DelayS+reaction))
		case takeoff.OnBrakes:
			if math.IsInf(shortest, 1) {
				shortest = 0
			}
			schedule.Build(units, -max(0, f.ReactionS+reaction)-shortest)
		default:
			schedule.Carry(units)
		}
		runs[i] = takeoff.ByRun.Of(runner.Roll(&schedule))
	}
	sort.Float64s(runs)
	return runs
}

// The sample against the plain one: probabilities within what chance allows both,
// percentiles within the same reckoned in ranks.
func TestEvaluateAgainstPlainSample(t *testing.T) {
	sample := chance.NewSample(1, 16, 625)
	n := 40000
	if testing.Short() {
		n = 8000
	}
	for _, row := range []struct {
		name string
		edit func(c *chance.Case)
		f    takeoff.Firing
	}{
		{"two units near the cliff", func(*chance.Case) {}, takeoff.Firing{Mode: takeoff.Rolling, DelayS: 3.04}},
		{"on the brakes", func(*chance.Case) {}, takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: 0.5}},
		{"unlit", func(*chance.Case) {}, takeoff.Firing{}},
		{"duds and an uneven lot", func(c *chance.Case) {
			c.Dispersions.DudProbability = new(0.05)
			c.Dispersions.LotThrust, c.Dispersions.LotBurnTime = 0.03, 0.02
			c.Dispersions.TemperatureC = 4
		}, takeoff.Firing{Mode: takeoff.Rolling, DelayS: 4.5}},
	} {
		c := light(t, 25, 2)
		row.edit(c)
		runs := plain(t, c, row.f, n)
		for _, p := range []float64{0.3, 0.8, 0.97} {
			available := runs[int(p*float64(n))]
			if math.IsInf(available, 1) {
				continue
			}
			r, err := chance.Evaluate(context.Background(), c, chance.Question{Firing: row.f, AvailableM: available, Percentile: p}, sample, 2)
			if err != nil {
				t.Fatal(err)
			}
			allowed := 4 * math.Hypot(r.StandardError, math.Sqrt(p*(1-p)/float64(n)))
			within(t, row.name+": probability", r.Probability, p, allowed)
			low := runs[max(0, int((p-allowed)*float64(n)))]
			high := runs[min(n-1, int((p+allowed)*float64(n)))]
			if r.PercentileM < low || r.PercentileM > high {
				t.Errorf("%s: P%g %.2f m, plain %.2f to %.2f m", row.name, 100*p, r.PercentileM, low, high)
			}
			if !(r.StandardError > 0 && r.StandardError <= 1.5*math.Sqrt(p*(1-p)/float64(r.Samples))) {
				t.Errorf("%s: standard error %g, of independent draws it would be %g", row.name, r.StandardError, math.Sqrt(p*(1-p)/float64(r.Samples)))
			}
		}
	}
}

// Where screening says that it may be used it agrees with the sample; near
// burn-out at lift-off it says that it may not.
func TestScreenWhereItMayBeUsed(t *testing.T) {
	// Four times the size, so that what the difference is held against is not
	// drowned in what the sample itself is out.
	sample := chance.NewSample(2, 16, 4*chance.ScreenSize/16)
	used, near := 0, 0
	for _, headwind := range []float64{5, 12, 20, 30} {
		for _, units := range []int{0, 2, 4} {
			for delay := 1.0; delay < 11 && (units > 0 || delay == 1); delay += 0.6 {
				c := light(t, headwind, units)
				// Small enough for a plane to do, as in a well-known take-off.
				c.Dispersions = chance.Dispersions{
					ReactionS: 0.1, HeadwindMPS: 0.2, GrossMass: 0.003, EngineThrust: 0.004, CLMax: 0.003, RollingFriction: 0.05,
					UnitThrust: new(0.005), UnitBurnTime: new(0.005), IgnitionDelayS: new(0.02), LotThrust: 0.004, TemperatureC: 1,
					DudProbability: new(0.0),
				}
				f := takeoff.Firing{Mode: takeoff.Rolling, DelayS: delay}
				if units == 0 {
					f = takeoff.Firing{}
				}
				nominal := chance.Screen(c, f, 1e6)
				for _, sigmas := range []float64{-1.5, 0.3, 2.5} {
					available := nominal.NominalM + sigmas*nominal.SigmaM
					s := chance.Screen(c, f, available)
					if s.Reason == chance.NearBurnout {
						near++
					}
					if testing.Short() && sigmas != 0.3 {
						continue
					}
					if !s.Usable {
						continue
					}
					used++
					r, err := chance.Evaluate(context.Background(), c, chance.Question{Firing: f, AvailableM: available, Percentile: 0.95}, sample, 2)
					if err != nil {
						t.Fatal(err)
					}
					// A sample in which every draw fits cannot tell certainty from one in its size.
					allowed := 3 * max(2*r.StandardError, 1.0/chance.ScreenSize)
					if math.Abs(s.Probability-r.Probability) > allowed {
						t.Errorf("%g kt, %d units at %g s, %g m: screened %.5f, sampled %.5f +- %.5f (gap %.2f +- %.2f s)", headwind, units, delay,
							available, s.Probability, r.Probability, r.StandardError, s.BurnoutGapS, s.BurnoutGapSigmaS)
					}
				}
			}
		}
	}
	t.Logf("usable in %d cases, near burn-out in %d", used, near)
	if !testing.Short() && used < 20 || near < 20 {
		t.Errorf("usable in %d cases, near burn-out in %d: the cases no longer cover both", used, near)
	}
	c := light(t, 25, 2)
	if s := chance.Screen(c, takeoff.Firing{Mode: takeoff.Rolling, DelayS: 3.04}, 130); s.Usable || s.Reason != chance.NearBurnout {
		t.Errorf("at the nominal best: %+v", s)
	}
}
