package aircraft_test

import (
	"errors"
	"math"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/violation"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g within %.1g relative", what, got, want, relative)
	}
}

// Source: SciPy 1.10.1, scipy.interpolate.PchipInterpolator: a general-purpose
// reference library.
func TestCurveAgainstSciPy(t *testing.T) {
	for _, row := range []struct{ x, y, at, want []float64 }{
		{ // uneven spacing, a flat stretch, a rise in a fall
			[]float64{0, 7, 20, 30, 41, 50, 60.5},
			[]float64{10857.1, 10108.8, 9505.3, 9505.3, 8130.4, 8363.6, 7351.9},
			[]float64{0, 1, 3.3, 6.99, 7, 12, 25, 33, 45.5, 49, 55, 60, 60.5},
			[]float64{10857.1, 10729.811136059401, 10452.327255745375, 10109.474750856754, 10108.8,
				9782.040678626274, 9505.3, 9254.285199098422, 8247.0, 8355.602743484225, 8096.128330827651,
				7432.117826340955, 7351.9},
		},
		{ // even spacing, both end rules
			[]float64{0, 10, 20, 30}, []float64{5.0, 5.2, 9, -20},
			[]float64{0.5, 5, 9.9, 15, 22, 29.5},
			[]float64{5.0005475, 5.0525, 5.19621602, 7.1475, 7.4368, -17.741074999999995},
		},
	} {
		var curve aircraft.Curve
		if err := curve.Fit(row.x, row.y, 1); err != nil {
			t.Fatal(err)
		}
		for i, at := range row.at {
			near(t, "curve", curve.At(at), row.want[i], 1e-13)
		}
		last := len(row.x) - 1
		near(t, "held below", curve.At(row.x[0]-5), row.y[0], 0)
		near(t, "held above", curve.At(row.x[last]+5), row.y[last], 0)
	}
}

func TestCurveOfTwoPointsIsStraight(t *testing.T) {
	var curve aircraft.Curve
	if err := curve.Fit([]float64{0, 100}, []float64{18000, 4500}, 0.5); err != nil {
		t.Fatal(err)
	}
	near(t, "middle", curve.At(50), 5625, 1e-15)
}

// The propeller's thrust satisfies the two equations of momentum theory that
// define it, and the static thrust has its closed form.
func TestPropellerMomentumTheory(t *testing.T) {
	p := aircraft.Propeller{ShaftPowerW: 220e3, DiameterM: 2.4, EfficiencyFactor: 0.85, DensityExponent: 0.8}
	for _, rho := range []float64{1.45, 1.225, 0.95} {
		power := 0.85 * 220e3 * math.Pow(rho/air.SeaLevelDensityKgM3, 0.8)
		area := math.Pi * 1.2 * 1.2
		for _, v := range []float64{0, 3, 25, 60, 120} {
			thrust := p.ThrustN(v, rho)
			w := -v/2 + math.Sqrt(v*v/4+thrust/(2*rho*area))
			near(t, "power", thrust*(v+w), power, 1e-13)
		}
		near(t, "static", p.ThrustN(0, rho), math.Cbrt(2*rho*area*power*power), 1e-13)
	}
	kind := aircraft.Type{Propeller: &p}
	var curve aircraft.Curve
	if err := kind.ThrustInto(&curve, 1.1); err != nil {
		t.Fatal(err)
	}
	near(t, "tabulated at a point", curve.At(37), p.ThrustN(37, 1.1), 1e-15)
	near(t, "tabulated between points", curve.At(37.5), p.ThrustN(37.5, 1.1), 1e-6)
	near(t, "held above the table", curve.At(150), p.ThrustN(120, 1.1), 1e-15)
}

func sound() aircraft.Type {
	return aircraft.Type{
		WingAreaM2: 30, SpanM: 15, Oswald: 0.8, WingHeightM: 1.5,
		Flaps:         []aircraft.Flap{{Name: "take-off", CLMax: 1.9, CLRoll: 0.5, CD0: 0.09}},
		Thrust:        aircraft.ThrustTable{AirspeedMPS: []float64{0, 100}, ThrustN: []float64{18000, 9000}, DensityExponent: 1},
		LiftoffFactor: 1.1, RotationTimeS: 2, EmptyMassKG: 4000, MaxMassKG: 6500,
		Stations: []aircraft.Station{
			{ID: "p1", LateralM: -0.9, Mirror: "s1"}, {ID: "s1", LateralM: 0.9, Mirror: "p1"}, {ID: "c1"},
		},
	}
}

func TestValidateNamesEveryFault(t *testing.T) {
	good := sound()
	if err := good.Validate(); err != nil {
		t.Fatalf("a sound type: %v", err)
	}
	bad := sound()
	bad.WingAreaM2 = math.NaN()
	bad.LiftoffFactor = 0.9
	bad.MaxMassKG = 100
	bad.CrosswindLimitMPS = new(-1.0)
	bad.Flaps[0].CLRoll = 2.5
	bad.Thrust.AirspeedMPS = []float64{10, 10}
	bad.Thrust.ThrustN[1] = math.Inf(1)
	bad.Stations[1].LateralM = 1
	var list violation.List
	if !errors.As(bad.Validate(), &list) {
		t.Fatal("no violations")
	}
	want := []string{"wing_area_m2", "liftoff_factor", "max_mass_kg", "crosswind_limit_mps", "flaps[0].cl_roll",
		"thrust.thrust_n[1]", "thrust.airspeed_mps[1]", "stations[0].mirror", "stations[1].mirror"}
	if len(list) != len(want) {
		t.Fatalf("violations:\n%v\nwant fields %q", list, want)
	}
	for i := range want {
		if list[i].Field != want[i] {
			t.Errorf("violation %d is of %s, want %s", i, list[i].Field, want[i])
		}
	}
}
