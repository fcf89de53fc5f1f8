package takeoff_test

import (
	"fmt"
	"log"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// An invented aircraft with two invented units, fired two seconds into the roll
// and at the nominal best.
func Example() {
	day, err := air.At(air.Conditions{PressurePa: new(101325.0), TemperatureC: new(15.0)})
	if err != nil {
		log.Fatal(err)
	}
	heron := &aircraft.Type{
		WingAreaM2: 30, SpanM: 15, Oswald: 0.8, WingHeightM: 1.4,
		Flaps: []aircraft.Flap{{Name: "take-off", CLMax: 1.9, CLRoll: 0.5, CD0: 0.09}},
		Thrust: aircraft.ThrustTable{
			AirspeedMPS: []float64{0, 30, 60, 90}, ThrustN: []float64{18000, 14500, 11000, 8000}, DensityExponent: 1,
		},
		LiftoffFactor: 1.1, RotationTimeS: 1.5, EmptyMassKG: 4000, MaxMassKG: 6500,
	}
	ember := &booster.Type{
		TraceS: []float64{0, 0.1, 3.9, 4.1}, TraceN: []float64{0, 11000, 11200, 0},
		LoadedMassKG: 75, PropellantMassKG: 22, IgnitionDelayS: 0.15,
		PressureSensitivityPerK: 0.002, ReferenceTemperatureC: 15,
	}
	setting := takeoff.Setting{
		Aircraft: heron, GrossMassKG: 5500, Air: day, HeadwindMPS: 10,
		Surface: takeoff.Surface{RollingFriction: 0.03, BrakingFriction: 0.35},
		Units: []booster.Unit{
			{Type: ember, GrainTemperatureC: 20, LateralM: -0.9},
			{Type: ember, GrainTemperatureC: 20, LateralM: 0.9},
		},
	}
	runner, err := takeoff.NewRunner(setting)
	if err != nil {
		log.Fatal(err)
	}
	var schedule booster.Schedule
	firing := takeoff.Firing{Mode: takeoff.Rolling, DelayS: 2}
	firing.Schedule(&schedule, setting.Units)
	roll := runner.Roll(&schedule)
	fmt.Printf("fired at 2 s: run %.1f m, off after %.2f s\n", roll.RunM, roll.TimeS)

	best := runner.BestFiring(&schedule, setting.Units, takeoff.FiringSearch{Brakes: true, ReactionS: 0.8})
	fmt.Printf("best %s: fired at %.2f s, run %.1f m\n", best.Firing.Mode, best.Firing.DelayS, best.Roll.RunM)
	// Output:
	// fired at 2 s: run 210.6 m, off after 8.77 s
	// best rolling: fired at 4.04 s, run 161.2 m
}
