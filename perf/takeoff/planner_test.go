package takeoff_test

import (
	"fmt"
	"math"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

func TestPlannerFiredAtRelease(t *testing.T) {
	e := planner(t, "D01")
	s := reference1(t, 0, 15, 0)
	_, _, none := rollOf(t, s, takeoff.Firing{})
	metres(t, "without units", none.RunM, e.number(t, "run_none_m"))
	within(t, "time without", none.TimeS, e.number(t, "t_none_s"), 0.02)
	within(t, "lift-off speed", none.AirspeedMPS, e.number(t, "V_LO_none_ms"), 0.05)
	s.Units = pairs(unitA(), 2, 15)
	_, schedule, two := rollOf(t, s, rolling(0))
	metres(t, "two at release", two.RunM, e.number(t, "run_2_fired_at_release_m"))
	within(t, "burn-out before lift-off", schedule.LastThrustS()-two.TimeS, e.number(t, "burn_end_minus_liftoff_s"), 0.02)
}

func TestPlannerBestDelay(t *testing.T) {
	e := planner(t, "D02")
	s := reference1(t, 0, 15, 0)
	s.Units = pairs(unitA(), 2, 15)
	best := bestOf(t, s, s.Units)
	metres(t, "best", best.Roll.RunM, e.number(t, "run_m"))
	within(t, "command", best.Firing.DelayS, 7.766, 0.02)
	within(t, "lift-off", best.Roll.TimeS, e.number(t, "liftoff_t_s"), 0.02)
	within(t, "burn-out at lift-off", best.Firing.DelayS+4.15-best.Roll.TimeS, 0, 1e-7)
	for _, delay := range []float64{7, 9} {
		_, _, roll := rollOf(t, s, rolling(delay))
		metres(t, "off the best", roll.RunM, e.number(t, fmt.Sprintf("run_at_fire_%.1f_m", delay)))
	}
}

func TestPlannerHeadwindScaling(t *testing.T) {
	want := planner(t, "D04").numbers(t, "run_ratio_exponent")
	_, _, calm := rollOf(t, reference1(t, 0, 15, 0), takeoff.Firing{})
	for i, wind := range []float64{5, 10, 20, 30} {
		w := wind * knot
		_, _, roll := rollOf(t, reference1(t, 0, 15, w), takeoff.Firing{})
		n := math.Log(roll.RunM/calm.RunM) / math.Log(1-w/calm.AirspeedMPS)
		within(t, "exponent", n, want[i], 0.01)
	}
}

func TestPlannerClosedForms(t *testing.T) {
	e := planner(t, "D05")
	s := reference1(t, 0, 15, 0)
	s.Surface.RollingFriction = 0
	s.Aircraft.Flaps[0] = aircraft.Flap{CLMax: 2 * 5500 * air.GravityMPS2 / (s.Air.DensityKgM3 * 30 * 1600)}
	s.Aircraft.LiftoffFactor = 1
	s.Aircraft.Thrust = aircraft.ThrustTable{AirspeedMPS: []float64{0, 100}, ThrustN: []float64{27500, 27500}}
	for i, wind := range []float64{0, 20} {
		s.HeadwindMPS = wind
		_, _, roll := rollOf(t, s, takeoff.Firing{})
		within(t, "constant acceleration", roll.RunM, e.numbers(t, "run_m")[i], 1e-6)
	}
	s = reference1(t, 0, 15, 0)
	s.Air.DensityKgM3 = 1.225
	s.Aircraft.Flaps[0] = aircraft.Flap{CLMax: 1.9}
	s.Aircraft.Thrust.ThrustN = []float64{18000, 18000}
	s.Aircraft.Thrust.DensityExponent = 0
	_, _, roll := rollOf(t, s, takeoff.Firing{})
	within(t, "rolling friction only", roll.RunM, 313.8023, 0.01)
}

func TestPlannerThreeKnots(t *testing.T) {
	e := planner(t, "D06")
	for _, row := range []struct {
		kt  float64
		key string
	}{{25, "run_25kt_m"}, {28, "run_28kt_same_delay_m"}, {22, "run_22kt_same_delay_m"}} {
		s := reference1(t, 0, 15, row.kt*knot)
		s.Units = pairs(unitA(), 2, 15)
		_, _, roll := rollOf(t, s, rolling(3.04))
		metres(t, row.key, roll.RunM, e.number(t, row.key))
	}
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	metres(t, "replanned", bestOf(t, s, s.Units).Roll.RunM, e.number(t, "run_28kt_replanned_m"))
}

func TestPlannerColdAndHot(t *testing.T) {
	for _, row := range []struct {
		id             string
		altitude, oatC float64
	}{{"D08", -300, -30}, {"D09", 1500, 45}} {
		e := planner(t, row.id)
		s := reference1(t, row.altitude, row.oatC, 0)
		within(t, "density", s.Air.DensityKgM3, e.number(t, "rho"), 1e-4)
		_, _, none := rollOf(t, s, takeoff.Firing{})
		metres(t, "without units", none.RunM, e.number(t, "run_none_m"))
		s.Units = pairs(unitA(), 2, 15)
		best := bestOf(t, s, s.Units)
		within(t, "best command", best.Firing.DelayS, e.number(t, "best_delay_s"), 0.02)
		metres(t, "best run", best.Roll.RunM, e.number(t, "best_run_m"))
		runner, schedule, _ := rollOf(t, s, rolling(0))
		within(t, "lift-off speed, loaded", best.Roll.LiftoffAirspeedMPS, e.number(t, "V_LO_2units_ms"), 0.2)
		if row.id == "D09" {
			metres(t, "at release", runner.Roll(schedule).RunM, e.number(t, "run_2_at_release_m"))
			flying, _, _ := rollOf(t, inFlight(s), rolling(0))
			within(t, "climb gradient", flying.Climb(schedule, best.Roll).GradientUnlit, e.number(t, "climb_gradient_no_boost"), 2e-4)
		}
	}
}

func TestPlannerUnequalTemperatures(t *testing.T) {
	e := planner(t, "D11")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, -10)
	s.Units[1].GrainTemperatureC = 35
	within(t, "left", s.Units[0].Type.ThrustN(1, -10), e.number(t, "left_N"), 0.1)
	within(t, "right", s.Units[1].Type.ThrustN(1, 35), e.number(t, "right_N"), 0.1)
	runner, schedule, roll := rollOf(t, s, rolling(2.427))
	metres(t, "run", roll.RunM, e.number(t, "run_m"))
	a := runner.Asymmetry(schedule)
	within(t, "yaw in the burn", math.Abs(a.BurnNM), e.number(t, "yaw_during_burn_Nm"), 0.1)
	within(t, "yaw in the tail", math.Abs(a.TailNM), e.number(t, "yaw_in_tail_Nm"), 1)
	within(t, "left burns longer", schedule.LastThrustS()-schedule.FirstBurnoutS(), e.number(t, "left_burns_longer_s"), 0.001)
}

func TestPlannerBurnoutInRotation(t *testing.T) {
	e := planner(t, "D12")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	for _, end := range []string{"-1.0", "-0.5", "0", "+0.5", "+1.0"} {
		key := "burn_end_" + end + "s"
		runner, schedule, roll := rollOf(t, s, rolling(e.number(t, key, "fire_s")))
		metres(t, key, roll.RunM, e.number(t, key, "run_m"))
		var offset float64
		fmt.Sscanf(end, "%f", &offset)
		climb := runner.Climb(schedule, roll)
		within(t, key, -climb.LiftoffAfterBurnoutS, offset, 0.02)
		if caution := math.Abs(climb.LiftoffAfterBurnoutS) < 1; climb.BurnoutInRotation != caution {
			t.Errorf("%s: burn-out in rotation %t, want %t", key, climb.BurnoutInRotation, caution)
		}
	}
	best := bestOf(t, s, s.Units)
	flying, schedule, _ := rollOf(t, inFlight(s), best.Firing)
	climb := flying.Climb(schedule, best.Roll)
	within(t, "gradient lit", climb.GradientLit, e.number(t, "gradient_with_boost"), 2e-3)
	within(t, "gradient unlit", climb.GradientUnlit, e.number(t, "gradient_without"), 1e-3)
}

func TestPlannerOneOfTwoFails(t *testing.T) {
	e := planner(t, "D13")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	runner, schedule, both := rollOf(t, s, rolling(2.427))
	metres(t, "both", both.RunM, e.number(t, "run_both_m"))
	lit := runner.RollFor(schedule, 2.577)
	within(t, "ignition at", lit.DistanceM, e.number(t, "ignition_at", "x_m"), 0.05)
	within(t, "ignition airspeed", runner.AirspeedMPS(lit), e.number(t, "ignition_at", "airspeed_ms"), 0.05)
	legs := runner.Legs(schedule, s.Units, rolling(2.427), takeoff.DefaultPolicy(), 180)
	if len(legs.Legs) == 0 || legs.Legs[0].Failure.Kind != takeoff.OneDud {
		t.Fatalf("legs %+v: the first must be one dud", legs)
	}
	dud := legs.Legs[0]
	metres(t, "one", dud.Go.RunM, e.number(t, "run_one_m"))
	// Recognised at 11.7 m and 8.28 m/s; the stop takes 49.8 m more.
	within(t, "recognised at", dud.Recognised.DistanceM, 11.7, 0.1)
	within(t, "recognised speed", dud.Recognised.GroundSpeedMPS, 8.28, 0.05)
	within(t, "stop", dud.Stop.DistanceM, 49.8, 0.3)
	if dud.GoFits || !dud.StopFits || dud.ReliedOn != takeoff.LegStop || !legs.Covered || legs.ReliesOn != takeoff.LegStop {
		t.Errorf("one dud: go fits %t, stop fits %t, relies on %v, covered %t", dud.GoFits, dud.StopFits, dud.ReliedOn, legs.Covered)
	}
	policy := takeoff.DefaultPolicy()
	policy.Legs = takeoff.LegGo
	if runner.Legs(schedule, s.Units, rolling(2.427), policy, 180).Covered {
		t.Error("covered where the policy accepts going on only")
	}
	_, _, carried := rollOf(t, s, takeoff.Firing{})
	metres(t, "neither", carried.RunM, e.number(t, "run_neither_but_carried_m"))
	s.Units = nil
	_, _, none := rollOf(t, s, takeoff.Firing{})
	metres(t, "none fitted", none.RunM, e.number(t, "run_none_fitted_m"))
}

func TestPlannerBestDelayWithOneDud(t *testing.T) {
	e := planner(t, "D14")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	s.Units[0].Dud = true
	for _, delay := range []string{"0", "2.43", "4", "5", "6", "6.5", "7", "8", "10"} {
		var at float64
		fmt.Sscanf(delay, "%f", &at)
		_, _, roll := rollOf(t, s, rolling(at))
		metres(t, "one dud, fired at "+delay, roll.RunM, e.number(t, "run_one_by_delay_m", delay))
	}
	within(t, "best with one dud", bestOf(t, s, s.Units).Firing.DelayS, 6.5, 0.1)
}

func TestPlannerThreeUnits(t *testing.T) {
	e := planner(t, "D17")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 3, 15)
	if takeoff.CheckFit(s.Units) == nil {
		t.Error("two on one side and one on the other pass")
	}
	runner, schedule, roll := rollOf(t, s, rolling(0))
	metres(t, "run", roll.RunM, e.number(t, "run_m_at_release"))
	a := runner.Asymmetry(schedule)
	within(t, "yaw", math.Abs(a.BurnNM), e.number(t, "net_yaw_Nm"), 1e-6)
	within(t, "control speed", a.BurnControlMPS, e.number(t, "airspeed_for_rudder_balance_ms"), 0.05)
	if a.Controlled {
		t.Error("controlled at 28 kt")
	}
	s.Units[2].LateralM = 0
	if err := takeoff.CheckFit(s.Units); err != nil {
		t.Errorf("a pair and one on the centre line: %v", err)
	}
}

func TestPlannerFourUnits(t *testing.T) {
	e := planner(t, "D19")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 4, 15)
	for i, key := range []string{"4_of_4_at_release_m", "3_of_4_at_release_m", "2_of_4_at_release_m"} {
		if i > 0 {
			s.Units[i-1].Dud = true
		}
		_, _, roll := rollOf(t, s, rolling(0))
		metres(t, key, roll.RunM, e.number(t, key))
	}
	_, _, roll := rollOf(t, s, rolling(3))
	metres(t, "2 of 4 at 3 s", roll.RunM, e.number(t, "2_of_4_at_3s_m"))
}

func TestPlannerTooHeavy(t *testing.T) {
	e := planner(t, "D21")
	s := reference1(t, 1500, 45, 0)
	s.GrossMassKG = 9500
	_, _, roll := rollOf(t, s, takeoff.Firing{})
	if roll.LiftsOff || roll.Reason != takeoff.TooSlow {
		t.Errorf("lifts off %t, reason %v", roll.LiftsOff, roll.Reason)
	}
	within(t, "steady speed", roll.SteadyAirspeedMPS, e.number(t, "terminal_ground_roll_speed_ms"), 0.05)
	within(t, "lift-off speed", roll.LiftoffAirspeedMPS, e.number(t, "V_LO_ms"), 0.05)

	e = planner(t, "D22")
	s.GrossMassKG = 7500
	_, _, roll = rollOf(t, s, takeoff.Firing{})
	metres(t, "lifts off", roll.RunM, e.number(t, "run_m"))
	flying, silent, _ := rollOf(t, inFlight(s), takeoff.Firing{})
	within(t, "cannot climb", flying.Climb(silent, roll).GradientUnlit, e.number(t, "climb_gradient_at_liftoff"), 1e-3)
}

func TestPlannerNoEngineThrust(t *testing.T) {
	e := planner(t, "D23")
	s := reference1(t, 0, 15, 0)
	s.Aircraft.Thrust.ThrustN = []float64{0, 0}
	_, _, still := rollOf(t, s, takeoff.Firing{})
	if still.LiftsOff || still.Reason != takeoff.Stands || still.DistanceM != 0 || still.TimeS != 0 {
		t.Errorf("without units: %+v, want a stand", still)
	}
	s.Units = pairs(unitA(), 2, 15)
	_, _, roll := rollOf(t, s, rolling(0))
	if roll.LiftsOff {
		t.Error("lifts off on the units alone")
	}
	within(t, "peak speed", roll.GroundSpeedMPS, e.number(t, "peak_speed_ms"), 0.05)
	metres(t, "peak at", roll.DistanceM, e.number(t, "peak_at_x_m"))
}

func TestPlannerFiredTooLate(t *testing.T) {
	e := planner(t, "D25")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	_, schedule, roll := rollOf(t, s, rolling(20))
	metres(t, "run", roll.RunM, e.number(t, "run_m"))
	within(t, "lift-off", roll.TimeS, e.number(t, "liftoff_t_s"), 0.02)
	if schedule.FirstThrustS() < roll.TimeS {
		t.Error("fires before lift-off")
	}
}

func TestPlannerSkis(t *testing.T) {
	e := planner(t, "D26")
	day, err := air.At(air.Conditions{PressureAltitudeM: new(2900.0), TemperatureC: new(-25.0)})
	if err != nil {
		t.Fatal(err)
	}
	unit := &booster.Type{
		TraceS: []float64{0, 13}, TraceN: []float64{4450, 4450}, LoadedMassKG: 75, PropellantMassKG: 33,
		IgnitionDelayS: 0.15, PressureSensitivityPerK: 0.0015, ReferenceTemperatureC: 15,
	}
	for i, mu := range []float64{0.06, 0.1, 0.13} {
		s := takeoff.Setting{
			Aircraft: &aircraft.Type{
				WingAreaM2: 162, SpanM: 40, Oswald: 0.8,
				Flaps: []aircraft.Flap{{CLMax: 2.3, CLRoll: 0.9, CD0: 0.095}},
				Thrust: aircraft.ThrustTable{
					AirspeedMPS: []float64{0, 200}, ThrustN: []float64{170000, 0}, DensityExponent: 1,
				},
				LiftoffFactor: 1.05, EmptyMassKG: 40000, MaxMassKG: 70000,
			},
			GrossMassKG: 58000, Air: day, Surface: takeoff.Surface{RollingFriction: mu, BrakingFriction: mu},
		}
		_, _, none := rollOf(t, s, takeoff.Firing{})
		within(t, "none", none.RunM, e.numbers(t, "run_none_m")[i], 0.005*none.RunM)
		s.Units = pairs(unit, 8, -25)
		runner, schedule, release := rollOf(t, s, rolling(0))
		carried, push := 8*75.0, 8*unit.ThrustN(1, -25)
		within(t, "critical friction", runner.CriticalFriction(0, 0), e.number(t, "critical_mu", "no_units"), 0.0006)
		within(t, "critical friction, units carried", runner.CriticalFriction(carried, 0),
			e.number(t, "critical_mu", "units_carried_unlit"), 0.0006)
		within(t, "critical friction, units burning", runner.CriticalFriction(carried, push),
			e.number(t, "critical_mu", "units_burning"), 0.0006)
		if most := runner.MostFriction(schedule, takeoff.LimitQuestion{
			Units: s.Units, Factor: 1, AvailableM: 3000,
		}); most.Outcome != takeoff.LimitFound || most.Value >= runner.CriticalFriction(carried, 0) {
			t.Errorf("most friction for 3000 m: %+v", most)
		}
		within(t, "eight at release", release.RunM, e.numbers(t, "run_8_at_release_m")[i], 0.005*release.RunM)
		_, _, late := rollOf(t, s, rolling(e.numbers(t, "best_delay_s_(4 s grid)")[i]))
		want := e.numbers(t, "run_8_best_delay_m_(4 s grid)")[i]
		within(t, "eight late", late.RunM, want, 0.005*want)
		if best := bestOf(t, s, s.Units); best.Roll.RunM > late.RunM {
			t.Errorf("mu %g: best %.2f m is longer than %.2f m of the coarse grid", mu, best.Roll.RunM, late.RunM)
		}
	}
}

func TestPlannerWindKinds(t *testing.T) {
	run := func(kt, delay float64) float64 {
		s := reference1(t, 0, 15, kt*knot)
		s.Units = pairs(unitA(), 2, 15)
		_, _, roll := rollOf(t, s, rolling(delay))
		return roll.RunM
	}
	want := planner(t, "D31").numbers(t, "run_m")
	for i, kt := range []float64{18, 25, 35} {
		metres(t, "gusts", run(kt, 3.04), want[i])
	}
	e := planner(t, "D32")
	for _, kt := range []float64{30, 25, 15} {
		metres(t, "factored wind", run(kt, 2.01), e.number(t, "run_m", fmt.Sprint(kt)))
	}
	e = planner(t, "D41")
	metres(t, "m/s read as knots", run(14.40, 2.43), e.number(t, "m_s_read_as_kt_run_m"))
	metres(t, "knots read as m/s", run(28/knot, 2.43), e.number(t, "kt_read_as_m_s_run_m"))
	metres(t, "as it is", run(28, 2.43), e.number(t, "true_m"))
}

func TestPlannerLeavesTheDeckSlow(t *testing.T) {
	e := planner(t, "D34")
	for _, row := range []struct {
		key    string
		firing takeoff.Firing
		runs   []float64
	}{
		{"boost_burning", rolling(2.427), []float64{75, 65, 60, 55, 50}},
		{"units_never_lit", takeoff.Firing{}, []float64{200, 190, 180, 170, 160, 150}},
	} {
		ratios, sinks := e.numbers(t, row.key, "speed_ratio"), e.numbers(t, row.key, "sink_m")
		s := reference1(t, 0, 15, 28*knot)
		s.Units = pairs(unitA(), 2, 15)
		runner, schedule, _ := rollOf(t, s, row.firing)
		flying, _, _ := rollOf(t, inFlight(s), row.firing)
		for i, run := range row.runs {
			edge, ok := runner.RollTo(schedule, run)
			if !ok {
				t.Fatalf("does not come to %g m", run)
			}
			sink := flying.OffBow(schedule, edge, 18)
			within(t, fmt.Sprintf("%s %g m: speed ratio", row.key, run), sink.SpeedRatio, ratios[i], 0.002)
			within(t, fmt.Sprintf("%s %g m: sink", row.key, run), sink.SinkM, sinks[i], 0.2)
			if !sink.Recovers {
				t.Errorf("%s %g m: does not recover", row.key, run)
			}
		}
	}
}

func TestPlannerCommitPoint(t *testing.T) {
	e := planner(t, "D35")
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	runner, schedule, _ := rollOf(t, s, rolling(2.427))
	lit := runner.Commit(schedule, 2.427, s.Units, takeoff.DefaultPolicy(), 180)
	within(t, "lit, time", lit.At.TimeS, e.number(t, "last_stop_with_units_lit", "t_s"), 0.1)
	within(t, "lit, distance", lit.At.DistanceM, e.number(t, "last_stop_with_units_lit", "x_m"), 1)
	within(t, "lit, airspeed", lit.AirspeedMPS/knot, e.number(t, "last_stop_with_units_lit", "airspeed_kt"), 0.5)
	within(t, "lit, stop", lit.Stop.DistanceM, e.number(t, "last_stop_with_units_lit", "stop_needs_m"), 1)
	runner, schedule, _ = rollOf(t, s, takeoff.Firing{})
	unlit := runner.Commit(schedule, math.Inf(1), s.Units, takeoff.DefaultPolicy(), 180)
	within(t, "unlit, time", unlit.At.TimeS, e.number(t, "last_stop_if_units_never_light", "t_s"), 0.1)
	within(t, "unlit, distance", unlit.At.DistanceM, e.number(t, "last_stop_if_units_never_light", "x_m"), 1)
	within(t, "unlit, airspeed", unlit.AirspeedMPS/knot, e.number(t, "last_stop_if_units_never_light", "airspeed_kt"), 0.5)
}

// The fits that D37 allocates: required run 1.15 x run, pairs, fired 1 s after
// the nominal best.
func TestPlannerFeasibleFits(t *testing.T) {
	want := map[string]any(planner(t, "D37"))["feasible_units"].(map[string]any)
	for _, row := range []struct {
		id        string
		mass, run float64
	}{{"A1", 5200, 130}, {"A2", 5500, 140}, {"A3", 5600, 150}, {"A4", 6400, 175}, {"A5", 6000, 190}, {"A6", 5500, 280}, {"A7", 5500, 60}} {
		var fits []float64
		for _, count := range []int{0, 2, 4} {
			s := reference1(t, 0, 15, 28*knot)
			s.GrossMassKG = row.mass
			s.Units = pairs(unitA(), count, 15)
			firing := takeoff.Firing{}
			if count > 0 {
				firing = rolling(bestOf(t, s, s.Units).Firing.DelayS + 1)
			}
			if _, _, roll := rollOf(t, s, firing); roll.LiftsOff && 1.15*roll.RunM <= row.run {
				fits = append(fits, float64(count))
			}
		}
		if got, want := fmt.Sprint(fits), fmt.Sprint(want[row.id]); got != want {
			t.Errorf("%s: fits %v, want %v", row.id, got, want)
		}
	}
}

func TestPlannerMassSlip(t *testing.T) {
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	s.GrossMassKG = 12125.4
	if _, _, roll := rollOf(t, s, rolling(2.427)); roll.LiftsOff && roll.DistanceM < 6000 {
		t.Errorf("pounds for kilograms: off in %g m, want no lift-off within 6 km", roll.DistanceM)
	}
	s.GrossMassKG = 2494.8
	_, _, roll := rollOf(t, s, rolling(2.427))
	metres(t, "kilograms for pounds", roll.RunM, 20.2)
}
