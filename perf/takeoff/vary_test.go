package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/takeoff"
)

// A varied runner rolls as one that was prepared for the varied setting.
func TestVaryIsPreparingAnew(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	var varied takeoff.Runner
	for i := range 2000 {
		s, f := randomSetting(rng)
		runner, schedule, _ := rollOf(t, s, f)
		v := takeoff.Variation{
			GrossMass: 0.1 * (rng.Float64() - 0.5), HeadwindMPS: 6 * (rng.Float64() - 0.5),
			Density: 0.1 * (rng.Float64() - 0.5), RollingFriction: 0.6 * (rng.Float64() - 0.5), CLMax: 0.1 * (rng.Float64() - 0.5),
			CD0: 0.4 * (rng.Float64() - 0.5),
		}
		runner.Vary(&varied, v)
		got := varied.Roll(schedule)

		kind := *s.Aircraft
		kind.Flaps = append(kind.Flaps[:0:0], kind.Flaps...)
		kind.Flaps[s.Flap].CLMax *= 1 + v.CLMax
		kind.Flaps[s.Flap].CD0 *= 1 + v.CD0
		s.Aircraft = &kind
		s.GrossMassKG *= 1 + v.GrossMass
		s.HeadwindMPS += v.HeadwindMPS
		s.Air.DensityKgM3 *= 1 + v.Density
		s.Surface.RollingFriction *= 1 + v.RollingFriction
		_, _, want := rollOf(t, s, f)
		if got.LiftsOff != want.LiftsOff {
			t.Fatalf("case %d: lifts off %t, prepared anew %t", i, got.LiftsOff, want.LiftsOff)
		}
		allowed := 1e-8
		if kind.Propeller != nil {
			allowed = 1e-5 // the table behind the curve has its points elsewhere
		}
		if want.LiftsOff && math.Abs(got.RunM-want.RunM) > allowed*(1+want.RunM)*max(1, want.TimeS/20) {
			t.Errorf("case %d: run %.10g, prepared anew %.10g (propeller %t)", i, got.RunM, want.RunM, kind.Propeller != nil)
		}
	}
}

func TestVaryAllocatesNothing(t *testing.T) {
	setting, _ := twoUnits(t)
	runner, err := takeoff.NewRunner(setting)
	if err != nil {
		t.Fatal(err)
	}
	var varied takeoff.Runner
	vary := func() { runner.Vary(&varied, takeoff.Variation{Density: 0.01, GrossMass: 0.02}) }
	vary()
	if n := testing.AllocsPerRun(100, vary); n != 0 {
		t.Errorf("%g allocations, want none", n)
	}
}
