package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// What three knots buy: 7.9 m at the same command time, 10.6 m replanned; three
// knots less cost 27.8 m.
func TestPlannerSensitivities(t *testing.T) {
	e := planner(t, "D06")
	s := reference1(t, 0, 15, 25*knot)
	s.Units = pairs(unitA(), 2, 15)
	runner, schedule, roll := rollOf(t, s, rolling(3.04))
	list := runner.Sensitivities(schedule, takeoff.SensitivityQuestion{
		Units: s.Units, Firing: rolling(3.04), AvailableM: 130,
		Fewer: []booster.Unit{}, More: pairs(unitA(), 4, 15),
	})
	find := func(quantity string, sign float64) takeoff.Sensitivity {
		for _, l := range list {
			if l.Quantity == quantity && l.Change*sign > 0 {
				return l
			}
		}
		t.Fatalf("no %s in %+v", quantity, list)
		panic("unreachable")
	}
	more := find("headwind_mps", 1)
	metres(t, "28 kt, same delay", more.Fixed.RunM, e.number(t, "run_28kt_same_delay_m"))
	metres(t, "28 kt, replanned", more.Replanned.Roll.RunM, e.number(t, "run_28kt_replanned_m"))
	metres(t, "22 kt, same delay", find("headwind_mps", -1).Fixed.RunM, e.number(t, "run_22kt_same_delay_m"))
	if got := find("available_m", 1); got.Fixed.RunM != roll.RunM || got.AvailableM != 140 {
		t.Errorf("ten metres more: run %g of %g m", got.Fixed.RunM, got.AvailableM)
	}
	if got := find("unit_count", -1); got.Replanned.Firing.Mode != takeoff.Unlit || got.Fixed.RunM < roll.RunM {
		t.Errorf("no units: %+v", got)
	}
	if got := find("unit_count", 1); got.Replanned.Roll.RunM >= roll.RunM {
		t.Errorf("four units run %g m, two %g m", got.Replanned.Roll.RunM, roll.RunM)
	}
	if heavier := find("gross_mass_kg", 1); heavier.Replanned.Roll.RunM <= bestOf(t, s, s.Units).Roll.RunM {
		t.Error("100 kg more shorten the run replanned")
	}
	if find("delay_s", -1).HasReplanned {
		t.Error("a shift of the command is planned anew")
	}
}

// At the bound the take-off just fits; above it there is room, below there is
// not.
func TestCheckMarkBoundJustFits(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	bounds := 0
	for i := range 400 {
		s, f := randomSetting(rng)
		runner, schedule, roll := rollOf(t, s, f)
		if !roll.LiftsOff {
			continue
		}
		available := roll.RunM * (1 + 0.5*rng.Float64())
		mark := roll.DistanceM * (0.2 + 0.6*rng.Float64())
		check := runner.CheckMark(schedule, f.CommandS(s.Units), s.Units, takeoff.DefaultPolicy(), available, mark)
		if !check.Reached || !check.HasBound {
			t.Fatalf("case %d: %+v", i, check)
		}
		bounds++
		if check.LeastAirspeedMPS > check.AirspeedMPS+1e-9 && !check.ByTime || check.Bound.TimeS < check.Expected.TimeS-1e-9 {
			t.Errorf("case %d: bound %g m/s at %g s, expected %g m/s at %g s", i,
				check.LeastAirspeedMPS, check.Bound.TimeS, check.AirspeedMPS, check.Expected.TimeS)
		}
		var weak takeoff.Runner
		runner.Vary(&weak, takeoff.Variation{EngineThrust: -check.ThrustLoss})
		if got := weak.Roll(schedule); check.ThrustLoss < 0.94 && math.Abs(got.RunM-available) > 0.01*available {
			// Where the run jumps with thrust, the bound is the side that fits.
			if got.RunM > available {
				t.Errorf("case %d: at the bound the run is %g m of %g m", i, got.RunM, available)
			}
		}
		if tight := runner.CheckMark(schedule, f.CommandS(s.Units), s.Units, takeoff.DefaultPolicy(), 0.99*roll.RunM, mark); tight.HasBound {
			t.Fatalf("case %d: a bound where the run does not fit", i)
		}
	}
	if bounds < 200 {
		t.Errorf("%d bounds only", bounds)
	}
}

// Units that break an aircraft loose are not there to lift it off.
func TestBreakOut(t *testing.T) {
	s := reference1(t, 0, -10, 0)
	s.Surface.RollingFriction = 0.12
	s.Units = pairs(unitA(), 4, -10)
	runner, schedule, _ := rollOf(t, s, takeoff.Firing{})
	// 18 kN of engine thrust against 0.2, 0.45 and 2 of 57 kN.
	free := runner.BreakOut(schedule, s.Units, 0.2)
	stuck := runner.BreakOut(schedule, s.Units, 0.45)
	never := runner.BreakOut(schedule, s.Units, 2)
	if free.Holds || free.BreakOut != 0 || free.LiftOff != 4 {
		t.Errorf("0.2: %+v", free)
	}
	if !stuck.Holds || !stuck.Possible || stuck.BreakOut != 1 || stuck.LiftOff != 3 {
		t.Errorf("0.45: %+v", stuck)
	}
	if never.Possible || never.Roll.LiftsOff || never.Roll.Reason != takeoff.Stands {
		t.Errorf("2: %+v", never)
	}
	best := bestOf(t, s, s.Units)
	if math.Abs(free.Roll.RunM-best.Roll.RunM) > 1e-6*best.Roll.RunM {
		t.Errorf("free to roll: %g m, all units at their best %g m", free.Roll.RunM, best.Roll.RunM)
	}
	if !(stuck.Roll.RunM > best.Roll.RunM) {
		t.Errorf("with one unit spent on breaking loose: %g m, all at their best %g m", stuck.Roll.RunM, best.Roll.RunM)
	}
}
