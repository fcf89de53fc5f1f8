package takeoff_test

import (
	"errors"
	"math"
	"testing"

	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	"bowroll/perf/violation"
)

// An aircraft lifted off by its units and left by them sinks back.
func TestSinksBack(t *testing.T) {
	s := reference1(t, 1500, 45, 0)
	s.GrossMassKG = 9400
	s.Aircraft.RotationTimeS = 2
	s.Units = pairs(unitA(), 4, 15)
	best := bestOf(t, s, s.Units)
	runner, schedule, roll := rollOf(t, inFlight(s), best.Firing)
	if !roll.LiftsOff {
		t.Fatal("does not lift off")
	}
	air := runner.AirDistance(schedule, roll, 15)
	if !air.SinksBack || air.Reached {
		t.Errorf("%+v, want it to sink back", air)
	}
	if runner.Climb(schedule, roll).GradientUnlit >= 0 {
		t.Error("climbs without the units")
	}
	if clear := runner.AirDistance(schedule, roll, 0); !clear.Reached || clear.DistanceM != 0 {
		t.Errorf("a clear bow: %+v, want no air distance", clear)
	}
}

// Headwind above lift-off speed: off at once, where it stands.
func TestWindAboveLiftoffSpeed(t *testing.T) {
	s := reference1(t, 0, 15, 50)
	_, _, roll := rollOf(t, s, takeoff.Firing{})
	if !roll.LiftsOff || roll.TimeS != 0 || roll.DistanceM != 0 {
		t.Errorf("%+v, want lift-off at release", roll)
	}
}

// Units that burn with a headwind may carry the aircraft over lift-off speed and
// let it fall below again in one stretch: the first crossing counts.
func TestShortPeakAboveLiftoffSpeed(t *testing.T) {
	s := plain(5000, 0, 3, 30, 1.5, 1)
	s.Air = seaLevel(t)
	kind := block(0, 1)
	kind.TraceS, kind.TraceN = []float64{0, 2, 4}, []float64{0, 400000, 0}
	s.Units = []booster.Unit{{Type: kind, GrainTemperatureC: 15}}
	runner, schedule, roll := rollOf(t, s, rolling(0))
	if !roll.LiftsOff {
		t.Fatal("does not lift off")
	}
	seconds, metres, ok := reference(runner.Equation(), schedule, 1e-4)
	if !ok || math.Abs(seconds-roll.TimeS) > 1e-6 || math.Abs(metres-roll.DistanceM) > 1e-5 {
		t.Errorf("%g s %g m, plain integrator %g s %g m", roll.TimeS, roll.DistanceM, seconds, metres)
	}
	// A little less thrust and the peak stays below: no lift-off.
	top := runner.RollFor(schedule, 4).GroundSpeedMPS
	if top <= 0 {
		t.Fatal("does not move")
	}
}

// An aircraft that the units set moving stops again on the slope and stands.
func TestStandsMovesAndStops(t *testing.T) {
	s := plain(5000, 1000, 0.1, 30, 1.5, 1)
	s.Air = seaLevel(t)
	s.Surface = takeoff.Surface{RollingFriction: 0.05, BrakingFriction: 0.3, Upslope: 0.05}
	kind := block(0, 1)
	kind.TraceS, kind.TraceN = []float64{0, 5, 5, 20, 20, 25}, []float64{0, 9000, 0, 0, 9000, 9000}
	s.Units = []booster.Unit{{Type: kind, GrainTemperatureC: 15}}
	runner, schedule, roll := rollOf(t, s, rolling(1))
	if roll.LiftsOff || roll.Reason != takeoff.TooSlow || roll.TimeS != 26 {
		t.Errorf("%+v, want it to end at the last burn-out", roll)
	}
	for _, at := range []float64{1, 3, 15, 20} {
		if v := runner.RollFor(schedule, at).GroundSpeedMPS; v != 0 {
			t.Errorf("at %g s it rolls at %g m/s, want a stand", at, v)
		}
	}
	if a, b := runner.RollFor(schedule, 15), runner.RollFor(schedule, 20); a.DistanceM != b.DistanceM || a.DistanceM <= 0 {
		t.Errorf("stands at %g and %g m", a.DistanceM, b.DistanceM)
	}
	// It moves from the moment at which thrust exceeds friction and slope.
	theta := math.Atan(0.05)
	need := 5000*9.80665*(0.05*math.Cos(theta)+math.Sin(theta)) - 1000
	release := 1 + need/1800
	if v := runner.RollFor(schedule, release-1e-6).GroundSpeedMPS; v != 0 {
		t.Errorf("moves before the forces allow it")
	}
	if v := runner.RollFor(schedule, release+0.01).GroundSpeedMPS; v <= 0 {
		t.Errorf("does not move when the forces allow it")
	}
	steady := runner.SteadyAirspeedMPS(schedule, roll.State)
	if steady != 0 {
		t.Errorf("steady speed %g, want it to come to a stand", steady)
	}
}

// The brakes out-hold the thrust or do not, at the worst moment before release.
func TestBrakesHold(t *testing.T) {
	s := reference1(t, 0, 15, 0)
	s.Units = pairs(unitA(), 2, 15)
	firing := takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: 0.8}
	runner, schedule, roll := rollOf(t, s, firing)
	weight := runner.MassKG(schedule, 0) * 9.80665
	within(t, "margin", runner.BrakesHold(schedule, firing), 0.35*weight-runner.ThrustN(0)-22000, 1e-6)
	within(t, "first thrust", schedule.FirstThrustS(), -0.8, 1e-12)
	within(t, "command", firing.CommandS(s.Units), -0.95, 1e-12)
	if !roll.LiftsOff {
		t.Error("does not lift off")
	}
	within(t, "unlit", runner.BrakesHold(schedule, takeoff.Firing{}), 0.35*weight-runner.ThrustN(0)-22000, 1e-6)
}

// A failure on the brakes is recognised before release: nothing is run.
func TestFailureOnTheBrakes(t *testing.T) {
	s := reference1(t, 0, 15, 15)
	s.Units = pairs(unitA(), 2, 15)
	firing := takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: 0.8}
	runner, schedule, _ := rollOf(t, s, firing)
	legs := runner.Legs(schedule, s.Units, firing, takeoff.DefaultPolicy(), 60)
	if !legs.Covered || legs.ReliesOn != takeoff.LegStop || legs.Legs[0].Stop.DistanceM != 0 {
		t.Errorf("%+v, want a stop without a run", legs)
	}
}

func TestFailureCases(t *testing.T) {
	kind := unitA()
	kind.HangFireAllowanceS, kind.ThrustSigma, kind.BurnTimeSigma = new(0.4), new(0.02), new(0.03)
	units := pairs(kind, 4, 15)
	for i := range units {
		units[i].Line = []string{"A", "A", "B", "C"}[i]
	}
	list, missing := takeoff.Failures(units)
	if len(missing) != 0 {
		t.Errorf("missing %q", missing)
	}
	count := map[takeoff.FailureKind]int{}
	for _, f := range list {
		count[f.Kind]++
		failed := f.Apply(nil, units)
		changed := 0
		for i := range failed {
			if failed[i] != units[i] {
				changed++
			}
		}
		want := map[takeoff.FailureKind]int{
			takeoff.OneDud: 1, takeoff.LineDud: 2, takeoff.AllDud: 4, takeoff.SideLate: 2, takeoff.SigmaPair: 2,
		}[f.Kind]
		if changed != want {
			t.Errorf("%v changes %d units, want %d", f, changed, want)
		}
		if f.String() == "" || f.String() == "unknown" {
			t.Errorf("failure %d has no words", f.Kind)
		}
	}
	for kind, want := range map[takeoff.FailureKind]int{
		takeoff.OneDud: 1, takeoff.LineDud: 1, takeoff.AllDud: 1, takeoff.SideLate: 2, takeoff.SigmaPair: 2,
	} {
		if count[kind] != want {
			t.Errorf("%v: %d cases, want %d", kind, count[kind], want)
		}
	}
	if _, missing := takeoff.Failures(pairs(unitA(), 2, 15)); len(missing) != 3 {
		t.Errorf("a type without data: missing %q, want three", missing)
	}
}

// A hang-fire of one side, or a strong unit beside a weak one, makes more yaw in
// the tail than in the burn.
func TestTailOfUnevenBurns(t *testing.T) {
	kind := unitA()
	kind.HangFireAllowanceS, kind.ThrustSigma, kind.BurnTimeSigma = new(0.4), new(0.02), new(0.03)
	s := reference1(t, 0, 15, 14)
	s.Units = pairs(kind, 2, 15)
	runner, schedule, _ := rollOf(t, s, rolling(2.5))
	if a := runner.Asymmetry(schedule); a.BurnNM != 0 || a.TailNM != 0 || !a.Controlled {
		t.Errorf("an even fit: %+v", a)
	}
	legs := runner.Legs(schedule, s.Units, rolling(2.5), takeoff.DefaultPolicy(), 200)
	for _, leg := range legs.Legs {
		a := leg.Asymmetry
		switch leg.Failure.Kind {
		case takeoff.SigmaPair:
			within(t, "burn", math.Abs(a.BurnNM), 11000*0.9*(1.06-0.94), 1e-6)
			within(t, "tail", math.Abs(a.TailNM), 11000*0.9*0.94, 1e-6)
		case takeoff.SideLate:
			within(t, "alone at first", math.Abs(a.BurnNM), 9900, 1e-6)
			within(t, "alone at last", math.Abs(a.TailNM), 9900, 1e-6)
		case takeoff.OneDud:
			within(t, "one alone", math.Abs(a.BurnNM), 9900, 1e-6)
			within(t, "no tail", a.TailNM, 0, 0)
		}
	}
}

func TestSettingNamesEveryFault(t *testing.T) {
	kind := unitA()
	kind.Firing = &booster.Band{MinC: -20, MaxC: 40}
	s := takeoff.Setting{
		Aircraft: &aircraft.Type{}, Flap: 3, GrossMassKG: math.Inf(1), HeadwindMPS: math.NaN(),
		Surface: takeoff.Surface{RollingFriction: -1, BrakingFriction: 9, Upslope: 1},
		Units:   []booster.Unit{{Type: kind, GrainTemperatureC: 60, LateS: -1}, {}},
	}
	var list violation.List
	if _, err := takeoff.NewRunner(s); !errors.As(err, &list) {
		t.Fatalf("error %v, want a list", err)
	}
	want := []string{"flap", "gross_mass_kg", "air.density_kg_m3", "headwind_mps", "surface.rolling_friction",
		"surface.braking_friction", "surface.upslope", "units[0].grain_temperature_c", "units[0].late_s", "units[1].type"}
	if len(list) != len(want) {
		t.Fatalf("violations:\n%v\nwant fields %q", list, want)
	}
	for i := range want {
		if list[i].Field != want[i] {
			t.Errorf("violation %d is of %s, want %s", i, list[i].Field, want[i])
		}
	}
	p := takeoff.Policy{RecognitionS: -1}
	if err := p.Validate(); err == nil {
		t.Error("a policy without factors passes")
	}
	if err := takeoff.DefaultPolicy().Validate(); err != nil {
		t.Error(err)
	}
}

// The same question from many goroutines has the same answer to the bit.
func TestConcurrentRunsAgree(t *testing.T) {
	setting, firing := twoUnits(t)
	runner, _, want := rollOf(t, setting, firing)
	answers := make(chan takeoff.Roll)
	for range 16 {
		go func() {
			var schedule booster.Schedule
			firing.Schedule(&schedule, setting.Units)
			answers <- runner.Roll(&schedule)
		}()
	}
	for range 16 {
		if got := <-answers; got != want {
			t.Errorf("%+v, want %+v", got, want)
		}
	}
}

// An aircraft that comes into the water has not flown away, to whatever side of
// zero its last height is rounded.
func TestComesDownInTheWater(t *testing.T) {
	s := reference1(t, 0, 15, 10)
	runner, schedule, _ := rollOf(t, s, takeoff.Firing{})
	for run := 1.0; run < 60; run += 0.5 {
		edge, ok := runner.RollTo(schedule, run)
		if !ok {
			t.Fatalf("does not come to %g m", run)
		}
		sink := runner.OffBow(schedule, edge, 6)
		if sink.Recovers || math.Abs(sink.SinkM-6) > 1e-9 {
			t.Errorf("%g m: %+v, want it in the water", run, sink)
		}
	}
}

// Source: computed on an independent ODE library under the model's rules.
func TestSinkOnTheWayToTheScreen(t *testing.T) {
	s := reference1(t, 0, 15, 20)
	kind := block(30000, 4)
	kind.CantDeg = -30
	s.Units = []booster.Unit{{Type: kind, GrainTemperatureC: 15}}
	runner, schedule, roll := rollOf(t, s, rolling(0))
	if !roll.LiftsOff {
		t.Fatal("does not lift off")
	}
	for _, screen := range []float64{1, 15} {
		way := runner.AirDistance(schedule, roll, screen)
		if !way.Reached {
			t.Fatalf("%+v, want it to climb away", way)
		}
		within(t, "sink", way.SinkM, 0.3119434170461676, 1e-7)
	}
}

// Units that light after the aircraft has come to rest push it on where the brakes
// do not hold against them; closed form without drag.
func TestStopPushedOnByLateUnits(t *testing.T) {
	const decel = 0.3 * 9.80665
	for _, row := range []struct{ thrust, want, seconds float64 }{
		{14000, 25 / (2 * decel), 5 / decel},
		{30000, 25/(2*decel) + 2*(6-decel) + 2*(6-decel)*(6-decel)/decel, 12 + 2*(6-decel)/decel},
	} {
		s := plain(5000, 1000, 0, 30, 1.5, 1)
		s.Air = seaLevel(t)
		s.Units = []booster.Unit{{Type: block(row.thrust, 2), GrainTemperatureC: 15}}
		runner, schedule, _ := rollOf(t, s, rolling(10))
		stop := runner.Stop(schedule, takeoff.State{GroundSpeedMPS: 5}, 0)
		if !stop.Stops {
			t.Fatalf("%g N: %+v, want it to stop", row.thrust, stop)
		}
		within(t, "distance", stop.DistanceM, row.want, 1e-8)
		within(t, "time", stop.End.TimeS, row.seconds, 1e-8)
	}
}

// What a unit burns like within its lot is a part of what its lot burns like.
func TestUnequalPairOfLotsBesideTheType(t *testing.T) {
	kind := block(10000, 4)
	kind.ThrustSigma, kind.BurnTimeSigma = new(0.02), new(0.03)
	units := pairs(kind, 2, 15)
	for i := range units {
		units[i].ThrustDeviation, units[i].RateDeviation = -0.1, 0.25
	}
	failed := takeoff.Failure{Kind: takeoff.SigmaPair, Unit: 1, Pair: 0}.Apply(nil, units)
	for i, sign := range []float64{-1, 1} {
		within(t, "thrust", failed[i].ThrustDeviation, 0.9*(1+sign*0.06)-1, 1e-15)
		within(t, "rate", failed[i].RateDeviation, 1.25*(1+sign*0.09)-1, 1e-15)
	}
}
