package takeoff_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// The planner cases were computed with a simpler model, which this one contains
// as a special case, by two integrators that agree; no published source. Each
// is held to the tolerance stated with it.

const knot = 0.514444

// expectations reads what one planner case expects.
type expectations map[string]any

func planner(tb testing.TB, id string) expectations {
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

func (e expectations) number(tb testing.TB, keys ...string) float64 {
	tb.Helper()
	var at any = map[string]any(e)
	for _, key := range keys {
		at = at.(map[string]any)[key]
	}
	value, ok := at.(float64)
	if !ok {
		tb.Fatalf("%q is %v, want a number", keys, at)
	}
	return value
}

func (e expectations) numbers(tb testing.TB, keys ...string) []float64 {
	tb.Helper()
	var at any = map[string]any(e)
	for _, key := range keys {
		at = at.(map[string]any)[key]
	}
	var out []float64
	for _, v := range at.([]any) {
		out = append(out, v.(float64))
	}
	return out
}

// metres holds a distance to 0.5 % or 0.3 m.
func metres(t *testing.T, what string, got, want float64) {
	t.Helper()
	within(t, what, got, want, max(0.3, 0.005*want))
}

// reference1 is the aircraft REF-1 of the planner cases at a pressure altitude,
// a temperature and a headwind in m/s.
func reference1(tb testing.TB, altitudeM, temperatureC, headwind float64) takeoff.Setting {
	tb.Helper()
	day, err := air.At(air.Conditions{PressureAltitudeM: &altitudeM, TemperatureC: &temperatureC})
	if err != nil {
		tb.Fatal(err)
	}
	return takeoff.Setting{
		Aircraft: &aircraft.Type{
			WingAreaM2: 30, SpanM: 15, Oswald: 0.8,
			Flaps: []aircraft.Flap{{CLMax: 1.9, CLRoll: 0.5, CD0: 0.090}},
			Thrust: aircraft.ThrustTable{
				AirspeedMPS: []float64{0, 1 / 0.0075}, ThrustN: []float64{18000, 0}, DensityExponent: 1,
			},
			LiftoffFactor: 1.10, EmptyMassKG: 4000, MaxMassKG: 9500,
			YawCoefficient: new(12.32 / (30 * 15)),
		},
		GrossMassKG: 5500,
		Air:         day,
		HeadwindMPS: headwind,
		Surface:     takeoff.Surface{RollingFriction: 0.03, BrakingFriction: 0.35},
	}
}

// inFlight is the same aircraft with the drag polar it has in the air: CD0
// 0.075, K 0.055, no ground effect.
func inFlight(s takeoff.Setting) takeoff.Setting {
	polar := *s.Aircraft
	polar.WingHeightM = 1e5
	polar.Oswald = 1 / (math.Pi * 0.055 * polar.AspectRatio())
	polar.Flaps = []aircraft.Flap{{CLMax: 1.9, CLRoll: 0.5, CD0: 0.075}}
	s.Aircraft = &polar
	return s
}

func unitA() *booster.Type {
	return &booster.Type{
		TraceS: []float64{0, 4}, TraceN: []float64{11000, 11000},
		LoadedMassKG: 75, PropellantMassKG: 22, IgnitionDelayS: 0.15,
		PressureSensitivityPerK: 0.0020, ReferenceTemperatureC: 15,
	}
}

// pairs fits count units of a type at a grain temperature, port and starboard in
// turn, 0.9 m out.
func pairs(kind *booster.Type, count int, grainC float64) (units []booster.Unit) {
	for i := range count {
		arm := -0.9
		if i%2 == 1 {
			arm = 0.9
		}
		units = append(units, booster.Unit{Type: kind, GrainTemperatureC: grainC, LateralM: arm})
	}
	return units
}

func rolling(delay float64) takeoff.Firing {
	return takeoff.Firing{Mode: takeoff.Rolling, DelayS: delay}
}

func bestOf(tb testing.TB, s takeoff.Setting, units []booster.Unit) takeoff.BestFiring {
	tb.Helper()
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		tb.Fatal(err)
	}
	var schedule booster.Schedule
	return runner.BestFiring(&schedule, units, takeoff.FiringSearch{})
}
