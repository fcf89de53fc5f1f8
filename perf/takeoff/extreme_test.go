package takeoff_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// finite walks a result and names the first number in it that is none.
func finite(v reflect.Value, path string) error {
	switch v.Kind() {
	case reflect.Float64:
		if f := v.Float(); math.IsNaN(f) || math.IsInf(f, 0) {
			return fmt.Errorf("%s is %v", path, f)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if err := finite(v.Field(i), path+"."+v.Type().Field(i).Name); err != nil {
				return err
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			if err := finite(v.Index(i), fmt.Sprintf("%s[%d]", path, i)); err != nil {
				return err
			}
		}
	}
	return nil
}

// At the ends of every range accepted, nothing panics, nothing hangs and every
// number is a number.
func TestEveryResultIsANumber(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	end := func(low, high float64) float64 {
		switch rng.IntN(4) {
		case 0:
			return low
		case 1:
			return high
		}
		return low + rng.Float64()*(high-low)
	}
	for i := range inputs(t) {
		s, f := randomSetting(rng)
		day, err := air.At(air.Conditions{
			PressurePa: new(end(air.MinPressurePa, air.MaxPressurePa)), TemperatureC: new(end(-80, 60)),
			RelativeHumidity: new(end(0, 1)),
		})
		if err != nil {
			t.Fatal(err)
		}
		s.Air = day
		s.HeadwindMPS = end(-60, 100)
		s.GrossMassKG *= math.Exp(end(-4, 4))
		s.Surface = takeoff.Surface{
			RollingFriction: end(0, 1), BrakingFriction: end(0, 1.5), Upslope: end(-0.2, 0.2),
		}
		s.Aircraft.Flaps[0].CD0 = end(0, 1)
		s.Aircraft.Flaps[0].CLRoll = end(0, s.Aircraft.Flaps[0].CLMax)
		s.Aircraft.WingHeightM = end(0, 10)
		f.DelayS = end(0, 500)
		f.ReactionS = end(0, 10)
		runner, schedule, roll := rollOf(t, s, f)
		state := runner.RollFor(schedule, end(0, 500))
		edge, _ := runner.RollTo(schedule, end(0, 500))
		results := []any{
			roll, state, edge,
			runner.Stop(schedule, state, end(0, 30)),
			runner.BrakesHold(schedule, f),
			runner.Asymmetry(schedule),
			runner.OffBow(schedule, edge, end(0, 30)),
			runner.Commit(schedule, f.CommandS(s.Units), s.Units, takeoff.DefaultPolicy(), end(1, 1000)),
		}
		if roll.LiftsOff {
			results = append(results, runner.AirDistance(schedule, roll, end(0, 500)))
			if roll.AirspeedMPS > 0 {
				results = append(results, runner.Climb(schedule, roll))
			}
		}
		if i%20 == 0 {
			var scratch booster.Schedule
			best := runner.BestFiring(&scratch, s.Units, takeoff.FiringSearch{Brakes: true, ReactionS: 1})
			results = append(results, best.Roll, best.Unlit, best.Firing,
				runner.Trace(nil, schedule, 5),
				runner.LeastHeadwind(&scratch, takeoff.LimitQuestion{Units: s.Units, Firing: f, Factor: 1, AvailableM: 100}))
		}
		for _, result := range results {
			if err := finite(reflect.ValueOf(result), fmt.Sprintf("%T", result)); err != nil {
				t.Fatalf("case %d: %v\n%+v\n%+v", i, err, s, f)
			}
		}
	}
}
