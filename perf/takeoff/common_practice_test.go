package takeoff_test

import (
	"math"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// The values in this file are common practice, no published source. They check
// that the model lives in the world that practice knows, and nothing more.

const (
	practicePound  = 0.45359237                       // kg, exact
	practicePsi    = 6894.757293168361                // Pa
	practiceKnot   = 1852.0 / 3600                    // m/s
	practiceFoot   = 0.3048                           // m
	practiceG      = air.GravityMPS2                  // m/s2
	practiceThrust = 1000 * practicePound * practiceG // 1,000 lbf
	practiceBurnS  = 8.0
	practiceLoaded = 150 * practicePound
	// Exhaust velocity is over 5,000 ft/s: that much takes the most propellant.
	practiceExhaustMPS = 5000 * practiceFoot
)

// practiceUnit is a unit of 1,000 lbf for 8 s, loaded weight 150 lb: common
// practice, no published source. The trace is taken as rectangular, the ignition
// delay as 0.1 s, the drag as none.
func practiceUnit() *booster.Type {
	nominal, relief := 1800*practicePsi, 3200*practicePsi
	return &booster.Type{
		TraceS: []float64{0, practiceBurnS}, TraceN: []float64{practiceThrust, practiceThrust},
		LoadedMassKG:     practiceLoaded,
		PropellantMassKG: practiceThrust * practiceBurnS / practiceExhaustMPS,
		IgnitionDelayS:   0.1,
		// The usable range is 0.0012 to 0.0050 per kelvin; the most sensitive.
		PressureSensitivityPerK: 0.005, ReferenceTemperatureC: 70.0/1.8 - 32/1.8,
		NominalPressurePa: &nominal, ReliefPressurePa: &relief,
	}
}

// practiceAircraft accelerates at a constant rate without units and lifts off at
// a given airspeed; its total mass, units included, is the one given.
func practiceAircraft(totalKG, accelerationMPS2, liftoffMPS, headwindMPS float64, units int) takeoff.Setting {
	const area, factor = 40, 1.1
	thrust := totalKG * accelerationMPS2
	s := takeoff.Setting{
		Aircraft: &aircraft.Type{
			WingAreaM2: area, SpanM: 16, Oswald: 0.8, WingHeightM: 2, LiftoffFactor: factor,
			Flaps: []aircraft.Flap{{
				CLMax: factor * factor * 2 * totalKG * practiceG / (air.SeaLevelDensityKgM3 * area * liftoffMPS * liftoffMPS),
			}},
			Thrust: aircraft.ThrustTable{AirspeedMPS: []float64{0, 100}, ThrustN: []float64{thrust, thrust}},
		},
		GrossMassKG: totalKG - float64(units)*practiceLoaded,
		Air:         air.Air{DensityKgM3: air.SeaLevelDensityKgM3},
		HeadwindMPS: headwindMPS,
		Surface:     takeoff.Surface{BrakingFriction: 1},
	}
	unit := practiceUnit()
	for range units {
		s.Units = append(s.Units, booster.Unit{Type: unit, GrainTemperatureC: unit.ReferenceTemperatureC})
	}
	return s
}

// practiceBest fires the units of a setting at their best, on the brakes with a
// reaction of half a second or rolling.
func practiceBest(t *testing.T, s takeoff.Setting) takeoff.BestFiring {
	t.Helper()
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		t.Fatal(err)
	}
	var schedule booster.Schedule
	return runner.BestFiring(&schedule, s.Units, takeoff.FiringSearch{Measure: takeoff.ByRoll, Brakes: true, ReactionS: 0.5})
}

// practiceRoot is where f crosses zero between two arguments.
func practiceRoot(t *testing.T, low, high float64, f func(float64) float64) float64 {
	t.Helper()
	below := f(low) < 0
	if below == (f(high) < 0) {
		t.Fatalf("no root between %v and %v: %v and %v there", low, high, f(low), f(high))
	}
	for range 60 {
		middle := (low + high) / 2
		if (f(middle) < 0) == below {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// Common practice, no published source: 1,000 lbf for 8 s at over 5,000 ft/s
// fits inside a unit of 150 lb.
func TestCommonPracticeImpulseFitsTheUnit(t *testing.T) {
	unit := practiceUnit()
	if err := unit.Validate(); err != nil {
		t.Fatal(err)
	}
	if got, want := unit.ImpulseNS(), 8000*practicePound*practiceG; math.Abs(got/want-1) > 1e-12 {
		t.Errorf("impulse %v N s, want %v", got, want)
	}
	part := unit.PropellantMassKG / unit.LoadedMassKG
	t.Logf("propellant %.1f lb of %.0f lb loaded, %.0f %%", unit.PropellantMassKG/practicePound, unit.LoadedMassKG/practicePound, 100*part)
	// A case that holds 1,800 psi weighs something, and so does its nozzle.
	if part <= 0.1 || part >= 0.6 {
		t.Errorf("propellant is %.2f of the loaded mass", part)
	}
	// The hook takes the full thrust of its unit, which is many times its weight.
	if practiceThrust < 5*practiceLoaded*practiceG {
		t.Error("the thrust is not what loads the hook")
	}
}

// Common practice, no published source: 1,800 psi nominal, relief near 3,200 psi,
// stowage from 40 to 110 degF.
func TestCommonPracticeHotPressureStaysBelowRelief(t *testing.T) {
	unit := practiceUnit()
	for _, referenceF := range []float64{40, 70} { // whichever the nominal is meant at
		unit.ReferenceTemperatureC = (referenceF - 32) / 1.8
		pressure, margin, ok := unit.PressurePa((110 - 32) / 1.8)
		if !ok {
			t.Fatal("no pressure")
		}
		t.Logf("at 110 degF, nominal at %.0f degF: %.0f psi, %.0f below relief", referenceF, pressure/practicePsi, margin/practicePsi)
		if margin <= 0 || pressure <= 1800*practicePsi {
			t.Errorf("pressure %.0f psi with a margin of %.0f", pressure/practicePsi, margin/practicePsi)
		}
	}
}

// Common practice, no published source: these parts of the calm run are saved.
// The mean unassisted acceleration that the model needs to save as much, its
// units fired at their best, is one that such aircraft have.
func TestCommonPracticeReductions(t *testing.T) {
	for _, row := range []struct {
		pounds    float64
		units     int
		reduction float64
	}{
		{7000, 1, 0.33},
		{12730, 2, 0.38},
		{14139, 2, 0.39},
		{10650, 2, 0.495},
		{16000, 4, 0.584},
	} {
		for _, knots := range []float64{60, 70, 80} {
			mass, liftoff := row.pounds*practicePound, knots*practiceKnot
			short := func(acceleration float64) float64 {
				best := practiceBest(t, practiceAircraft(mass, acceleration, liftoff, 0, row.units))
				return 1 - best.Roll.DistanceM/(liftoff*liftoff/(2*acceleration)) - row.reduction
			}
			a := practiceRoot(t, 0.05*practiceG, 0.8*practiceG, short)
			best := practiceBest(t, practiceAircraft(mass, a, liftoff, 0, row.units))
			t.Logf("%6.0f lb, %d units, %4.1f %%, lift-off at %.0f kt: %.3f g; best %v after %.2f s, %.1f s long",
				row.pounds, row.units, 100*row.reduction, knots, a/practiceG, best.Firing.Mode, best.Firing.DelayS, best.Roll.TimeS)
			if a < 0.12*practiceG || a > 0.35*practiceG {
				t.Errorf("%.0f lb with %d units at %.0f kt needs %.3f g unassisted", row.pounds, row.units, knots, a/practiceG)
			}
		}
	}
}

// Common practice, no published source: with wind enough fire on the brakes and
// let go when thrust is felt; with little wind roll, wait two seconds, fire.
func TestCommonPracticeFiringMovesToTheBrakes(t *testing.T) {
	const pounds, units, liftoffKnots, acceleration = 12730, 2, 90, 0.25 * practiceG
	at := func(headwindKnots float64) takeoff.BestFiring {
		return practiceBest(t, practiceAircraft(pounds*practicePound, acceleration, liftoffKnots*practiceKnot, headwindKnots*practiceKnot, units))
	}
	// On the brakes the command comes before release: earlier than any rolling.
	command := func(b takeoff.BestFiring) float64 {
		if b.Firing.Mode == takeoff.OnBrakes {
			return -1
		}
		return b.Firing.DelayS
	}
	last := math.Inf(1)
	for knots := 0.0; knots <= 50; knots += 5 {
		best := at(knots)
		t.Logf("headwind %2.0f kt: best %v after %.2f s, run %.0f m in %.1f s", knots, best.Firing.Mode, best.Firing.DelayS, best.Roll.DistanceM, best.Roll.TimeS)
		if c := command(best); c > last+1e-6 {
			t.Errorf("headwind %.0f kt: the best command moves later, to %.3f s from %.3f s", knots, c, last)
		} else {
			last = c
		}
	}
	if calm := at(0); calm.Firing.Mode != takeoff.Rolling || calm.Firing.DelayS < 1 {
		t.Errorf("calm: best %v after %.2f s, not some seconds into the roll", calm.Firing.Mode, calm.Firing.DelayS)
	}
	if windy := at(50); windy.Firing.Mode != takeoff.OnBrakes {
		t.Errorf("50 kt: best %v after %.2f s, not on the brakes", windy.Firing.Mode, windy.Firing.DelayS)
	}
	wind := practiceRoot(t, 0, 50, func(knots float64) float64 { return at(knots).Roll.TimeS - 10 })
	ten := at(wind)
	t.Logf("assisted run of %.2f s at %.1f kt: best %v after %.2f s", ten.Roll.TimeS, wind, ten.Firing.Mode, ten.Firing.DelayS)
	if ten.Firing.Mode != takeoff.Rolling || math.Abs(ten.Firing.DelayS-2) > 0.5 {
		t.Errorf("an assisted run of ten seconds: best %v after %.2f s, not near two", ten.Firing.Mode, ten.Firing.DelayS)
	}
}
