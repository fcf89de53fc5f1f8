package booster_test

import (
	"errors"
	"math"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/violation"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.9g, want %.9g within %.1g relative", what, got, want, relative)
	}
}

func trapezoid() *booster.Type {
	return &booster.Type{
		TraceS: []float64{0, 0.2, 5, 5.5}, TraceN: []float64{0, 9000, 11000, 0},
		LoadedMassKG: 80, PropellantMassKG: 24, IgnitionDelayS: 0.15,
		PressureSensitivityPerK: 0.002, ReferenceTemperatureC: 15,
	}
}

// Law: Sutton and Biblarz, Rocket Propulsion Elements, ch. 11; pi_K 0.002/K and
// 40 K either way on 60 kN for 6 s.
func TestGrainTemperatureLaw(t *testing.T) {
	unit := booster.Type{
		TraceS: []float64{0, 6}, TraceN: []float64{60000, 60000},
		PressureSensitivityPerK: 0.002, ReferenceTemperatureC: 20,
		NominalPressurePa: new(12e6), ReliefPressurePa: new(20e6),
	}
	near(t, "cold thrust", unit.ThrustN(1, -20), 55387, 1e-4)
	near(t, "hot thrust", unit.ThrustN(1, 60), 64997, 1e-4)
	near(t, "cold burn", unit.BurnTimeS(-20), 6.4997, 1e-4)
	near(t, "hot burn", unit.BurnTimeS(60), 5.5387, 1e-4)
	near(t, "impulse", unit.ThrustN(1, 60)*unit.BurnTimeS(60), unit.ImpulseNS(), 1e-12)
	pressure, margin, ok := unit.PressurePa(60)
	if !ok {
		t.Fatal("pressure not given")
	}
	near(t, "hot pressure", pressure, 12e6*math.Exp(0.08), 1e-12)
	near(t, "margin", margin, 20e6-pressure, 1e-12)
}

// The merged schedule is the sum of the units' own traces and masses.
func TestScheduleIsTheSumOfItsUnits(t *testing.T) {
	kind, other := trapezoid(), trapezoid()
	other.TraceS, other.TraceN = []float64{0, 3, 3, 4}, []float64{5000, 5000, 2000, 2500}
	other.CantDeg, other.SplayDeg = 6, 10
	units := []booster.Unit{
		{Type: kind, GrainTemperatureC: -10, LateralM: -1},
		{Type: kind, GrainTemperatureC: 35, LateralM: 1},
		{Type: other, GrainTemperatureC: 15, LateralM: 2, LongitudinalM: -0.5, LateS: 0.7},
		{Type: other, GrainTemperatureC: 15, LateralM: -2, LongitudinalM: -0.5, ThrustDeviation: 0.1, RateDeviation: 0.05},
		{Type: kind, GrainTemperatureC: 15, Dud: true},
	}
	const command = 2.5
	var s booster.Schedule
	s.Build(units, command)
	for i := range 1000 {
		at := float64(i) * 0.0123456
		var forward, upward, yaw, mass float64
		for j := range units {
			u := &units[j]
			mass += u.Type.LoadedMassKG
			if u.Dud {
				continue
			}
			since := at - command - u.Type.IgnitionDelayS - u.LateS
			f := (1 + u.ThrustDeviation) * u.Type.ThrustN(since*(1+u.RateDeviation), u.GrainTemperatureC)
			cant, splay := u.Type.CantDeg*math.Pi/180, u.Type.SplayDeg*math.Pi/180
			forward += f * math.Cos(cant) * math.Cos(splay)
			upward += f * math.Sin(cant)
			side := math.Copysign(1, u.LateralM)
			yaw += f * math.Cos(cant) * (math.Cos(splay)*u.LateralM + math.Sin(splay)*u.LongitudinalM*side)
			mass -= u.Type.PropellantMassKG * impulse(u.Type, since*(1+u.RateDeviation)*u.Type.Rate(u.GrainTemperatureC)) / u.Type.ImpulseNS()
		}
		gotForward, gotUpward := s.ForceN(at)
		if math.Abs(gotForward-forward) > 1e-8 || math.Abs(gotUpward-upward) > 1e-8 {
			t.Fatalf("at %g s: force %g, %g; want %g, %g", at, gotForward, gotUpward, forward, upward)
		}
		if math.Abs(s.YawNM(at)-yaw) > 1e-8 {
			t.Fatalf("at %g s: yaw %g, want %g", at, s.YawNM(at), yaw)
		}
		if math.Abs(s.MassKG(at)-mass) > 1e-10 {
			t.Fatalf("at %g s: mass %.12g, want %.12g", at, s.MassKG(at), mass)
		}
	}
	near(t, "mass before", s.MassKG(-100), 400, 0)
	near(t, "mass after", s.MassKG(100), 400-4*24, 1e-12)
	near(t, "first thrust", s.FirstThrustS(), 2.65, 1e-12)
	near(t, "last thrust", s.LastThrustS(), 2.65+5.5/math.Exp(-0.05), 1e-12)
}

// impulse integrates the reference trace to a trace time.
func impulse(kind *booster.Type, x float64) (sum float64) {
	for i := 1; i < len(kind.TraceS); i++ {
		low, high := kind.TraceS[i-1], kind.TraceS[i]
		if x <= low || high == low {
			continue
		}
		end := min(x, high)
		slope := (kind.TraceN[i] - kind.TraceN[i-1]) / (high - low)
		sum += (end - low) * (kind.TraceN[i-1] + 0.5*slope*(end-low))
	}
	return sum
}

func TestBuildReusesItsMemory(t *testing.T) {
	kind := trapezoid()
	units := []booster.Unit{
		{Type: kind, GrainTemperatureC: 10}, {Type: kind, GrainTemperatureC: 11},
		{Type: kind, GrainTemperatureC: 12}, {Type: kind, GrainTemperatureC: 13},
	}
	var s booster.Schedule
	s.Build(units, 1)
	if n := testing.AllocsPerRun(100, func() { s.Build(units, 2) }); n != 0 {
		t.Errorf("%g allocations a build, want none", n)
	}
}

func TestValidateNamesEveryFault(t *testing.T) {
	bad := trapezoid()
	bad.TraceS[2], bad.TraceN[1] = 0.1, math.NaN()
	bad.LoadedMassKG, bad.CantDeg = -1, 90
	bad.Firing = &booster.Band{MinC: 50, MaxC: -10}
	bad.DudProbability = new(3.0)
	var list violation.List
	if !errors.As(bad.Validate(), &list) {
		t.Fatal("no violations")
	}
	want := []string{"trace_n[1]", "trace_s[2]", "loaded_mass_kg", "cant_deg", "firing.max_c", "dud_probability"}
	if len(list) != len(want) {
		t.Fatalf("violations:\n%v\nwant fields %q", list, want)
	}
	for i := range want {
		if list[i].Field != want[i] {
			t.Errorf("violation %d is of %s, want %s", i, list[i].Field, want[i])
		}
	}
	if err := trapezoid().Validate(); err != nil {
		t.Errorf("a sound type: %v", err)
	}
}
