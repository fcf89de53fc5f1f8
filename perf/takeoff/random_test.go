package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// randomAir draws a day within what the model accepts.
func randomAir(rng *rand.Rand) air.Air {
	altitude, temperature, humidity := -300+rng.Float64()*3000, -35+rng.Float64()*80, rng.Float64()
	day, err := air.At(air.Conditions{
		PressureAltitudeM: &altitude, TemperatureC: &temperature, RelativeHumidity: &humidity,
	})
	if err != nil {
		panic(err)
	}
	return day
}

// randomAircraft draws a type with a bumpy thrust table or a propeller.
func randomAircraft(rng *rand.Rand) (*aircraft.Type, float64) {
	area := 15 + rng.Float64()*70
	mass := area * (90 + rng.Float64()*160)
	t := &aircraft.Type{
		WingAreaM2: area, SpanM: math.Sqrt(area * (5 + rng.Float64()*7)), Oswald: 0.7 + rng.Float64()*0.2,
		WingHeightM:   0.5 + rng.Float64()*3,
		LiftoffFactor: 1.05 + rng.Float64()*0.2, RotationTimeS: rng.Float64() * 3,
		EmptyMassKG: mass / 2, MaxMassKG: mass * 2,
		YawCoefficient: new(0.02 + rng.Float64()*0.03),
	}
	clMax := 1.4 + rng.Float64()*1.2
	t.Flaps = []aircraft.Flap{{CLMax: clMax, CLRoll: clMax * rng.Float64(), CD0: 0.03 + rng.Float64()*0.08}}
	thrust := mass * air.GravityMPS2 * (0.15 + rng.Float64()*0.35)
	if rng.IntN(4) == 0 {
		t.Propeller = &aircraft.Propeller{
			ShaftPowerW: thrust * 25, DiameterM: 2 + rng.Float64()*3, EfficiencyFactor: 0.85, DensityExponent: rng.Float64(),
		}
		return t, mass
	}
	n := 2 + rng.IntN(9)
	for i := range n {
		t.Thrust.AirspeedMPS = append(t.Thrust.AirspeedMPS, float64(i)*10)
		t.Thrust.ThrustN = append(t.Thrust.ThrustN, thrust*(1-0.06*float64(i)+0.05*(rng.Float64()-0.5)))
	}
	t.Thrust.DensityExponent = rng.Float64()
	return t, mass
}

// randomUnits draws units whose impulse is worth their weight.
func randomUnits(rng *rand.Rand, mass float64) []booster.Unit {
	burn := 2 + rng.Float64()*12
	push := mass * (0.3 + rng.Float64()*2) / float64(1+rng.IntN(4))
	kind := &booster.Type{
		TraceS:         []float64{0, 0.05 * burn, 0.8 * burn, burn},
		TraceN:         []float64{push * rng.Float64(), push, push * (0.7 + 0.6*rng.Float64()), push * 0.2 * float64(rng.IntN(2))},
		IgnitionDelayS: rng.Float64() * 0.4, CantDeg: float64(rng.IntN(3)) * 5, SplayDeg: float64(rng.IntN(3)) * 6,
		DragAreaM2: rng.Float64() * 0.03, PressureSensitivityPerK: 0.0012 + rng.Float64()*0.0038, ReferenceTemperatureC: 15,
		HangFireAllowanceS: new(0.3), ThrustSigma: new(0.02), BurnTimeSigma: new(0.03),
	}
	kind.PropellantMassKG = kind.ImpulseNS() / 1900
	kind.LoadedMassKG = kind.PropellantMassKG * (1.6 + rng.Float64())
	arm := 0.5 + rng.Float64()*1.5
	var units []booster.Unit
	grain := -20 + rng.Float64()*60
	for range 1 + rng.IntN(3) {
		for _, side := range []float64{-1, 1} {
			units = append(units, booster.Unit{
				Type: kind, GrainTemperatureC: grain, LateralM: side * arm, LongitudinalM: -1 + rng.Float64()*2,
			})
		}
		units[len(units)-1].LongitudinalM = units[len(units)-2].LongitudinalM
	}
	return units
}

// randomSetting draws a take-off, level or not, with wind from anywhere.
func randomSetting(rng *rand.Rand) (takeoff.Setting, takeoff.Firing) {
	kind, mass := randomAircraft(rng)
	s := takeoff.Setting{
		Aircraft: kind, GrossMassKG: mass * (0.8 + rng.Float64()*0.4), Air: randomAir(rng),
		HeadwindMPS: -5 + rng.Float64()*25,
		Surface: takeoff.Surface{
			RollingFriction: 0.01 + rng.Float64()*0.06, BrakingFriction: 0.2 + rng.Float64()*0.3,
			Upslope: (rng.Float64() - 0.5) * 0.04,
		},
		Units: randomUnits(rng, mass),
	}
	f := takeoff.Firing{Mode: takeoff.Rolling, DelayS: rng.Float64() * 10}
	if rng.IntN(4) == 0 {
		f = takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: 0.3 + rng.Float64()}
	}
	return s, f
}

// reference integrates a run by small steps of the classical method of order 4,
// step ends on every corner: slow, plain and independent of the model's own
// integrator. ok is false without lift-off in 400 s.
func reference(e takeoff.Equation, s *booster.Schedule, step float64) (seconds, metres float64, ok bool) {
	segments := s.Segments()
	i := s.Index(0)
	t, v, x := 0.0, 0.0, 0.0
	accel := func(t, v float64) float64 {
		g := &segments[i]
		tau, u := t-g.StartS, v+e.HeadwindMPS
		m := e.GrossMassKG + g.MassKG + tau*(g.MassKGPS+tau*g.MassKGPS2)
		square := u * math.Abs(u)
		load := max(0, m*e.NormalG-e.LiftK*max(square, 0)-g.UpwardN-tau*g.UpwardNPS)
		a := (e.Thrust.At(u)+g.ForwardN+tau*g.ForwardNPS-e.DragK*square-e.Mu*load)/m - e.SlopeG
		if v <= 0 {
			return max(a, 0)
		}
		return a
	}
	take := func(h float64) (v1, x1 float64) {
		a1 := accel(t, v)
		a2 := accel(t+h/2, v+h/2*a1)
		a3 := accel(t+h/2, v+h/2*a2)
		a4 := accel(t+h, v+h*a3)
		v1 = max(0, v+h/6*(a1+2*a2+2*a3+a4))
		x1 = x + h*v + h*h/6*(a1+a2+a3)
		return v1, max(x, x1)
	}
	short := func(t, v float64) float64 {
		g := &segments[i]
		tau := t - g.StartS
		return v + e.HeadwindMPS - math.Sqrt(e.LiftoffSq*(e.GrossMassKG+g.MassKG+tau*(g.MassKGPS+tau*g.MassKGPS2)))
	}
	for t < takeoff.LimitS {
		if short(t, v) >= 0 {
			return t, x, true
		}
		h := step
		corner := i+1 < len(segments) && t+h >= segments[i+1].StartS
		if corner {
			h = segments[i+1].StartS - t
		}
		v1, x1 := take(h)
		if short(t+h, v1) >= 0 {
			low, high := 0.0, h
			for range 60 {
				mid := (low + high) / 2
				if at, _ := take(mid); short(t+mid, at) >= 0 {
					high = mid
				} else {
					low = mid
				}
			}
			_, x1 = take(high)
			return t + high, x1, true
		}
		t, v, x = t+h, v1, x1
		if corner {
			t = segments[i+1].StartS
			i++
		} else if i+1 == len(segments) && t > s.LastThrustS() && accel(t, v) <= 0 {
			return t, x, false
		}
	}
	return t, x, false
}

// The series integrator against the plain one on take-offs of every kind: up and
// down hill, tailwind, canted units that lift the wheels, propellers, units lit
// before release, aircraft that stand or never lift off.
func TestRollAgainstPlainIntegrator(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	count := 10000
	if testing.Short() {
		count = 1000
	}
	var lifted, stuck int
	for i := range count {
		s, f := randomSetting(rng)
		switch i % 10 {
		case 0: // canted far enough to take the load off the wheels
			for j := range s.Units {
				s.Units[j].Type.CantDeg = 40
			}
			s.Aircraft.Flaps[0].CLRoll = s.Aircraft.Flaps[0].CLMax
		case 1: // too weak to move by itself
			s.Surface.Upslope, s.Surface.RollingFriction = 0.15, 0.3
		case 2: // set moving from rest in still air by thrust that builds up
			s.HeadwindMPS, s.Surface.Upslope, s.Surface.RollingFriction = 0, 0.05, 0.4
			s.Units[0].Type.TraceN[0], s.Units[0].Type.TraceS[1] = 0, s.Units[0].Type.TraceS[2]*0.8
		}
		runner, schedule, roll := rollOf(t, s, f)
		seconds, metres, ok := reference(runner.Equation(), schedule, 0.01)
		if ok && roll.LiftsOff && math.Abs(roll.DistanceM-metres) > 3e-6*(1+metres) && roll.TimeS < 60 {
			// The plain one steps over the moment at which the aircraft first moves.
			seconds, metres, ok = reference(runner.Equation(), schedule, 0.0003)
		}
		if ok != roll.LiftsOff {
			// Lift-off exactly at the limit of time or speed may go either way.
			if roll.LiftsOff && roll.TimeS > 0.99*takeoff.LimitS || !roll.LiftsOff && seconds > 0.99*takeoff.LimitS {
				continue
			}
			t.Fatalf("case %d: lifts off %t (%v), plain integrator %t at %g s", i, roll.LiftsOff, roll.Reason, ok, seconds)
		}
		if !ok {
			stuck++
			continue
		}
		lifted++
		// Where acceleration nearly vanishes the run is ill-conditioned, for any method.
		allowed := 3e-6
		if roll.TimeS > 60 {
			allowed = 1e-4
		}
		if math.Abs(roll.DistanceM-metres) > allowed*(1+metres) || math.Abs(roll.TimeS-seconds) > allowed*(1+seconds) {
			t.Errorf("case %d: %.9g m %.9g s, plain integrator %.9g m %.9g s (%v)", i, roll.DistanceM, roll.TimeS, metres, seconds, f)
		}
	}
	if lifted < count/2 || stuck < count/100 {
		t.Errorf("%d lift off and %d do not: the draw no longer covers both", lifted, stuck)
	}
	t.Logf("%d lift off, %d do not", lifted, stuck)
}

// A trace that swells four times gives the run two lowest places between neighbours of the
// first look over all command times: no command time looked at one by one may do
// better than the best.
func TestBestFiringOfATraceThatSwellsOftenIsTheShortest(t *testing.T) {
	altitude, temperature := 4773.6, 15.0
	day, err := air.At(air.Conditions{PressureAltitudeM: &altitude, TemperatureC: &temperature})
	if err != nil {
		t.Fatal(err)
	}
	kind := &booster.Type{
		TraceS:       []float64{0, 0.0265, 1.2197, 1.9581, 2.7345, 4.1216, 5.7712, 6.0528, 7.3979, 7.5867, 7.6643},
		TraceN:       []float64{11533, 769, 0, 3844, 769, 769, 3844, 11533, 3844, 0, 11533},
		LoadedMassKG: 13.161, PropellantMassKG: 4.898, ReferenceTemperatureC: 15, IgnitionDelayS: 0.02, DragAreaM2: 0.0716,
	}
	s := takeoff.Setting{
		Aircraft: &aircraft.Type{
			WingAreaM2: 20.041, SpanM: 10.173, Oswald: 0.951, WingHeightM: 0.95, LiftoffFactor: 1.126,
			EmptyMassKG: 3000, MaxMassKG: 5000, Flaps: []aircraft.Flap{{CLMax: 2.145, CLRoll: 0.371, CD0: 0.1441}},
			Propeller: &aircraft.Propeller{ShaftPowerW: 1471412, DiameterM: 7.664, EfficiencyFactor: 0.596, DensityExponent: 1.089},
		},
		GrossMassKG: 4348.8, Air: day, HeadwindMPS: 24.868, Surface: takeoff.Surface{RollingFriction: 0.0114},
	}
	for range 4 {
		s.Units = append(s.Units, booster.Unit{Type: kind, GrainTemperatureC: 15})
	}
	runner, schedule, _ := rollOf(t, s, rolling(0))
	best := runner.BestFiring(schedule, s.Units, takeoff.FiringSearch{})
	for delay := 0.0; delay < best.Searched[1]; delay += 0.02 {
		rolling(delay).Schedule(schedule, s.Units)
		if run := runner.Roll(schedule).RunM; run < best.Roll.RunM {
			t.Errorf("at %g s %g m, at the best, %g s, %g m", delay, run, best.Firing.DelayS, best.Roll.RunM)
		}
	}
}
