package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// The estimate against the roll itself on take-offs of every kind, fired at
// every moment from the brakes to after lift-off.
func TestEstimatorAgainstRoll(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	count := 4000
	if testing.Short() {
		count = 500
	}
	var estimate takeoff.Estimator
	var worst, sum float64
	var answered, left int
	for i := range count {
		s, _ := randomSetting(rng)
		for j := range s.Units {
			s.Units[j].ThrustDeviation = 0.05 * rng.NormFloat64()
			s.Units[j].RateDeviation = 0.05 * rng.NormFloat64()
			s.Units[j].Dud = rng.IntN(8) == 0
		}
		switch i % 20 {
		case 0:
			for j := range s.Units {
				s.Units[j].Type.CantDeg = 40
			}
			s.Aircraft.Flaps[0].CLRoll = s.Aircraft.Flaps[0].CLMax
		case 1:
			s.Surface.Upslope, s.Surface.RollingFriction = 0.15, 0.3
		}
		runner, err := takeoff.NewRunner(s)
		if err != nil {
			t.Fatal(err)
		}
		var relative, schedule booster.Schedule
		relative.Build(s.Units, 0)
		estimate.Set(runner, &relative)
		for range 12 {
			command := -3 + 25*rng.Float64()
			got, ok := estimate.RunM(command)
			schedule.Build(s.Units, command)
			roll := runner.Roll(&schedule)
			if !ok {
				left++
				continue
			}
			answered++
			if !roll.LiftsOff {
				t.Fatalf("case %d at %g s: estimated %g m, does not lift off (%v)", i, command, got, roll.Reason)
			}
			off := math.Abs(got-roll.RunM) / (10 + roll.RunM)
			worst, sum = max(worst, off), sum+off
			if off > 2e-3 {
				t.Errorf("case %d at %g s: estimated %.6f m, rolled %.6f m (%g)", i, command, got, roll.RunM, off)
			}
		}
	}
	t.Logf("%d estimated, %d left to the roll, off by %.2g, worst %.2g", answered, left, sum/float64(answered), worst)
	if mean := sum / float64(answered); mean > 4e-5 {
		t.Errorf("off by %g on average", mean)
	}
	if answered < 4*left {
		t.Errorf("only %d of %d estimated", answered, answered+left)
	}
}

func BenchmarkEstimator(b *testing.B) {
	setting, _ := twoUnits(b)
	runner, err := takeoff.NewRunner(setting)
	if err != nil {
		b.Fatal(err)
	}
	var schedule booster.Schedule
	schedule.Build(setting.Units, 0)
	var estimate takeoff.Estimator
	b.Run("set", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			estimate.Set(runner, &schedule)
			estimate.RunM(4)
		}
	})
	b.Run("run", func(b *testing.B) {
		b.ReportAllocs()
		estimate.Set(runner, &schedule)
		i := 0
		for b.Loop() {
			i++
			estimate.RunM(float64(i%8) + 0.3)
		}
	})
}
