package takeoff_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// inputs is how many random take-offs a property is tried on.
func inputs(t *testing.T) int {
	t.Helper()
	if testing.Short() {
		return 500
	}
	return 10000
}

// warmer is the air of a setting at another pressure and temperature.
func warmer(tb testing.TB, a air.Air, climbM, warmK float64) air.Air {
	tb.Helper()
	altitude, temperature := a.PressureAltitudeM+climbM, a.TemperatureC+warmK
	day, err := air.At(air.Conditions{
		PressureAltitudeM: &altitude, TemperatureC: &temperature, RelativeHumidity: &a.RelativeHumidity,
	})
	if err != nil {
		tb.Fatal(err)
	}
	return day
}

// With the firing planned anew, a change for the worse never shortens the run
// and one for the better never lengthens it.
func TestMonotoneAtReplannedFiring(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	tried := map[string]int{}
	for i := range inputs(t) {
		s, _ := randomSetting(rng)
		// Engines lose thrust with speed here: where they gain it, less dense air may help.
		s.Aircraft.Propeller = nil
		s.Aircraft.Thrust.AirspeedMPS = []float64{0, 30, 60, 90}
		s.Aircraft.Thrust.ThrustN = nil
		static := s.GrossMassKG * (1.5 + rng.Float64()*3)
		for _, part := range []float64{1, 0.9, 0.78, 0.64} {
			s.Aircraft.Thrust.ThrustN = append(s.Aircraft.Thrust.ThrustN, static*part)
		}
		worse := s
		worse.Units = slices.Clone(s.Units)
		var change string
		switch i % 7 {
		case 0:
			change = "less headwind"
			worse.HeadwindMPS -= 1 + rng.Float64()*3
		case 1:
			change = "more mass"
			worse.GrossMassKG *= 1.01 + rng.Float64()*0.05
		case 2:
			change = "more friction"
			worse.Surface.RollingFriction += 0.005 + rng.Float64()*0.02
		case 3:
			change = "more upslope"
			worse.Surface.Upslope += 0.002 + rng.Float64()*0.01
		case 4:
			change = "higher"
			worse.Air = warmer(t, s.Air, 50+rng.Float64()*500, 0)
		case 5:
			change = "warmer"
			worse.Air = warmer(t, s.Air, 0, 1+rng.Float64()*10)
		case 6:
			change = "one pair less"
			worse.Units = worse.Units[:len(worse.Units)-2]
		}
		better, bad := bestOf(t, s, s.Units), bestOf(t, worse, worse.Units)
		if !better.Roll.LiftsOff || !bad.Roll.LiftsOff {
			if bad.Roll.LiftsOff && !better.Roll.LiftsOff {
				t.Errorf("case %d: lifts off only with %s", i, change)
			}
			continue
		}
		tried[change]++
		if better.Roll.RunM > bad.Roll.RunM+1e-3 {
			t.Errorf("case %d: %s shortens the run from %.6f to %.6f m", i, change, better.Roll.RunM, bad.Roll.RunM)
		}
	}
	t.Log(tried)
}

// At a firing time that is held, more headwind still never lengthens the run.
func TestHeadwindHelpsAtHeldFiring(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for i := range inputs(t) {
		s, f := randomSetting(rng)
		_, _, calm := rollOf(t, s, f)
		s.HeadwindMPS += rng.Float64() * 5
		_, _, windy := rollOf(t, s, f)
		if calm.LiftsOff && windy.LiftsOff && windy.RunM > calm.RunM+1e-6 {
			t.Errorf("case %d: more headwind lengthens the run from %.9g to %.9g m", i, calm.RunM, windy.RunM)
		}
	}
}

// At a firing time that is held, friction and upslope may shorten the run: a
// slower start means that the units light nearer to where the roll began. This
// is why nobody must be told the sensitivity at a held time alone.
func TestFrictionMayHelpAtHeldFiring(t *testing.T) {
	s := reference1(t, 0, 15, 0)
	s.Units = pairs(unitA(), 2, 15)
	run := func(mu, upslope float64) float64 {
		s.Surface.RollingFriction, s.Surface.Upslope = mu, upslope
		_, _, roll := rollOf(t, s, rolling(14))
		return roll.RunM
	}
	base := run(0.03, 0)
	if sticky := run(0.04, 0); sticky >= base {
		t.Errorf("friction 0.04: %.3f m, not below %.3f m", sticky, base)
	}
	if uphill := run(0.03, 0.01); uphill >= base {
		t.Errorf("1 %% uphill: %.3f m, not below %.3f m", uphill, base)
	}
}

// A unit never lit is its weight and its drag; one without impulse never helps.
func TestUnlitUnitsAreWeight(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	for i := range inputs(t) {
		s, _ := randomSetting(rng)
		for j := range s.Units {
			s.Units[j].Type.DragAreaM2 = 0
		}
		_, _, unlit := rollOf(t, s, takeoff.Firing{})
		_, _, tooLate := rollOf(t, s, rolling(unlit.TimeS+1))
		heavier := s
		for j := range s.Units {
			heavier.GrossMassKG += s.Units[j].Type.LoadedMassKG
			s.Units[j].Dud = true
		}
		heavier.Units = nil
		_, _, weight := rollOf(t, heavier, takeoff.Firing{})
		_, _, dud := rollOf(t, s, rolling(1))
		if unlit.LiftsOff != weight.LiftsOff || dud != unlit {
			t.Fatalf("case %d: unlit %+v, dud %+v, weight %+v", i, unlit, dud, weight)
		}
		if !unlit.LiftsOff {
			continue
		}
		// Nothing changes but where a step ends: equal to the integrator's accuracy,
		// which a run that hardly gains speed magnifies.
		allowed := 1e-8 * unlit.RunM
		if unlit.TimeS > 60 {
			allowed *= 100
		}
		if math.Abs(tooLate.RunM-unlit.RunM) > allowed || math.Abs(weight.RunM-unlit.RunM) > allowed {
			t.Fatalf("case %d: unlit %.12g, fired too late %.12g, as weight %.12g m", i, unlit.RunM, tooLate.RunM, weight.RunM)
		}
		without := heavier
		without.GrossMassKG -= weight.MassKG - s.GrossMassKG
		if _, _, none := rollOf(t, without, takeoff.Firing{}); none.RunM > unlit.RunM {
			t.Fatalf("case %d: carrying units without impulse shortens the run", i)
		}
	}
}

// Port and starboard exchanged: the same run to the bit, yaw the other way.
func TestMirror(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	for i := range inputs(t) {
		s, f := randomSetting(rng)
		failures, _ := takeoff.Failures(s.Units)
		units := failures[i%len(failures)].Apply(nil, s.Units)
		mirrored := slices.Clone(units)
		for j := range mirrored {
			mirrored[j].LateralM = -mirrored[j].LateralM
		}
		runner, _, _ := rollOf(t, s, f)
		var a, b booster.Schedule
		f.Schedule(&a, units)
		f.Schedule(&b, mirrored)
		if one, other := runner.Roll(&a), runner.Roll(&b); one != other {
			t.Fatalf("case %d: %+v and mirrored %+v", i, one, other)
		}
		one, other := runner.Asymmetry(&a), runner.Asymmetry(&b)
		if one.BurnNM != -other.BurnNM || one.TailNM != -other.TailNM || one.BurnControlMPS != other.BurnControlMPS {
			t.Fatalf("case %d: yaw %+v and mirrored %+v", i, one, other)
		}
	}
}

// The run is continuous in the command time.
func TestContinuousInCommandTime(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	for i := range inputs(t) {
		s, _ := randomSetting(rng)
		runner, schedule, _ := rollOf(t, s, takeoff.Firing{})
		delay := rng.Float64() * 15
		run := func(delay float64) takeoff.Roll {
			schedule.Build(s.Units, delay)
			return runner.Roll(schedule)
		}
		a, b := run(delay), run(delay+1e-7)
		if a.LiftsOff && b.LiftsOff && a.TimeS < 60 && math.Abs(a.RunM-b.RunM) > 1e-4 {
			t.Errorf("case %d at %.9g s: %.9g m and 1e-7 s later %.9g m", i, delay, a.RunM, b.RunM)
		}
	}
}

// With a rectangular trace the best command is at release, or burn-out meets
// lift-off: there the run has its kink.
func TestBestFiringIsAtTheKink(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	kinks := 0
	for i := range inputs(t) {
		s := reference1(t, rng.Float64()*1500, rng.Float64()*40, rng.Float64()*20)
		s.GrossMassKG = 4500 + rng.Float64()*2000
		kind := unitA()
		kind.TraceS[1] = 2 + rng.Float64()*4
		kind.TraceN[0] = 4000 + rng.Float64()*9000
		kind.TraceN[1] = kind.TraceN[0]
		s.Units = pairs(kind, 2, 15)
		best := bestOf(t, s, s.Units)
		if best.Firing.DelayS < 1e-4 {
			continue
		}
		kinks++
		end := best.Firing.DelayS + kind.IgnitionDelayS + kind.TraceS[1]
		if math.Abs(end-best.Roll.TimeS) > 1e-9 {
			t.Errorf("case %d: command %.6f s, burn-out %.9f s, lift-off %.9f s", i, best.Firing.DelayS, end, best.Roll.TimeS)
		}
	}
	if kinks == 0 {
		t.Error("no case has its best while rolling")
	}
}

// No lift-off without units if and only if the steady rolling speed is below
// lift-off speed.
func TestNeverLiftsOffExactlyBelowSteadySpeed(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 1))
	var never int
	for i := range inputs(t) {
		s, _ := randomSetting(rng)
		s.Units = nil
		s.GrossMassKG *= 1 + rng.Float64()*2
		runner, schedule, roll := rollOf(t, s, takeoff.Firing{})
		steady := runner.SteadyAirspeedMPS(schedule, takeoff.State{})
		if roll.Reason == takeoff.TimeExceeded {
			continue
		}
		if roll.LiftsOff != (steady >= roll.LiftoffAirspeedMPS) {
			t.Errorf("case %d: lifts off %t, steady %.6f, lift-off speed %.6f m/s", i, roll.LiftsOff, steady, roll.LiftoffAirspeedMPS)
		}
		if !roll.LiftsOff {
			never++
		}
	}
	if never == 0 {
		t.Error("every case lifts off")
	}
}

// Every inverse question agrees with the forward answer at its root.
func TestLimitsAgreeWithForwardRuns(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 1))
	found := map[string]int{}
	for i := range inputs(t) / 10 {
		s, f := randomSetting(rng)
		runner, schedule, roll := rollOf(t, s, f)
		if !roll.LiftsOff || roll.TimeS > 60 {
			continue
		}
		q := takeoff.LimitQuestion{
			Units: s.Units, Firing: f, Factor: 1.15, AvailableM: 1.15 * roll.RunM * (0.7 + rng.Float64()*0.8),
		}
		check := func(name string, limit takeoff.Limit, beyond takeoff.Setting) {
			t.Helper()
			if limit.Outcome != takeoff.LimitFound {
				return
			}
			found[name]++
			if required := 1.15 * limit.At.Roll.RunM; required > q.AvailableM {
				t.Errorf("case %d: %s %.9g: required %.9g of %.9g m", i, name, limit.Value, required, q.AvailableM)
			}
			// A little beyond it does not fit; at a held firing the run may jump there.
			if _, _, roll := rollOf(t, beyond, f); roll.LiftsOff && 1.15*roll.RunM < q.AvailableM {
				t.Errorf("case %d: %s %.9g: beyond it required %.9g of %.9g m", i, name, limit.Value, 1.15*roll.RunM, q.AvailableM)
			}
		}
		beyond := s
		headwind := runner.LeastHeadwind(schedule, q)
		beyond.HeadwindMPS = headwind.Value - 1e-6
		check("headwind", headwind, beyond)
		beyond = s
		mass := runner.MostMass(schedule, q)
		beyond.GrossMassKG = mass.Value + 1e-2
		check("mass", mass, beyond)
		hottest, err := runner.HottestAir(schedule, q)
		if err != nil {
			t.Fatal(err)
		}
		beyond = s
		beyond.Air.TemperatureC = hottest.Value + 1e-4
		beyond.Air.DensityKgM3 = air.DensityKgM3(s.Air.PressurePa, beyond.Air.TemperatureC, s.Air.RelativeHumidity)
		check("temperature", hottest, beyond)
		if required, at, ok := runner.LeastRun(schedule, q); !ok || required != 1.15*at.Roll.RunM || at.Roll != roll {
			t.Errorf("case %d: least run %g, %t; the roll is %+v", i, required, ok, roll)
		}
	}
	for _, name := range []string{"headwind", "mass", "temperature"} {
		if found[name] == 0 {
			t.Errorf("no %s limit found", name)
		}
	}
	t.Log(found)
}

// A commit point is the boundary: a little later the stop no longer fits.
func TestCommitPointIsTheLast(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	found := 0
	for i := range inputs(t) / 10 {
		s, f := randomSetting(rng)
		runner, schedule, roll := rollOf(t, s, f)
		if !roll.LiftsOff || roll.TimeS > 60 {
			continue
		}
		available := roll.RunM * (0.8 + rng.Float64())
		p := takeoff.DefaultPolicy()
		command := f.CommandS(s.Units)
		c := runner.Commit(schedule, command, s.Units, p, available)
		if !c.Exists || c.ToLiftoff {
			continue
		}
		found++
		if !c.Stop.Stops || c.Stop.End.DistanceM > available {
			t.Errorf("case %d: the stop from the commit point ends at %.6f of %.6f m", i, c.Stop.End.DistanceM, available)
		}
		later := c.At.TimeS + 1e-3
		holding := schedule
		if later < command {
			holding = new(booster.Schedule)
			holding.Carry(s.Units)
		}
		if stop := runner.Stop(holding, runner.RollFor(schedule, later), p.StopReactionS); stop.Stops && stop.End.DistanceM < available {
			t.Errorf("case %d: a stop 1 ms later still fits", i)
		}
	}
	if found == 0 {
		t.Error("no commit point before lift-off")
	}
}

func TestRunsAllocateNothing(t *testing.T) {
	setting, firing := twoUnits(t)
	runner, schedule, roll := rollOf(t, setting, firing)
	trace := runner.Trace(nil, schedule, 0.5)
	for name, f := range map[string]func(){
		"roll":         func() { runner.Roll(schedule) },
		"roll to":      func() { runner.RollTo(schedule, 100) },
		"roll for":     func() { runner.RollFor(schedule, 5) },
		"stop":         func() { runner.Stop(schedule, roll.State, 1) },
		"air distance": func() { runner.AirDistance(schedule, roll, 15) },
		"off bow":      func() { runner.OffBow(schedule, roll.State, 18) },
		"schedule":     func() { firing.Schedule(schedule, setting.Units) },
		"asymmetry":    func() { runner.Asymmetry(schedule) },
		"brakes":       func() { runner.BrakesHold(schedule, firing) },
		"climb":        func() { runner.Climb(schedule, roll) },
		"trace":        func() { trace = runner.Trace(trace[:0], schedule, 0.5) },
		"reset": func() {
			if err := runner.Reset(setting); err != nil {
				t.Fatal(err)
			}
		},
	} {
		if n := testing.AllocsPerRun(20, f); n != 0 {
			t.Errorf("%s: %g allocations, want none", name, n)
		}
	}
}

func TestTraceMeetsTheRoll(t *testing.T) {
	setting, firing := twoUnits(t)
	runner, schedule, roll := rollOf(t, setting, firing)
	trace := runner.Trace(nil, schedule, 0.1)
	if end := trace[len(trace)-1]; end.State != roll.State {
		t.Errorf("trace ends at %+v, the roll at %+v", end.State, roll.State)
	}
	for i := 1; i+1 < len(trace); i++ {
		before, at, after := trace[i-1], trace[i], trace[i+1]
		if at.TimeS <= before.TimeS || at.DistanceM < before.DistanceM {
			t.Fatalf("sample %d goes back", i)
		}
		if mid := (after.GroundSpeedMPS - before.GroundSpeedMPS) / (after.TimeS - before.TimeS); schedule.Index(before.TimeS) == schedule.Index(after.TimeS) && math.Abs(mid-at.AccelerationMPS2) > 0.02 {
			t.Errorf("at %g s acceleration is %g, the speeds say %g", at.TimeS, at.AccelerationMPS2, mid)
		}
		if to, ok := runner.RollTo(schedule, at.DistanceM); !ok || math.Abs(to.TimeS-at.TimeS) > 1e-6 && at.DistanceM > 0.1 {
			t.Errorf("at %g m the time is %g, the trace says %g", at.DistanceM, to.TimeS, at.TimeS)
		}
	}
}
