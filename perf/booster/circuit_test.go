package booster_test

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/violation"
)

// Planner case D47: free-jet decay with an exit of 2 000 m/s and 0.1 m, a
// density ratio of 0.2 and 48 km/h accepted; 1 %.
func TestPlannerD47KeepClear(t *testing.T) {
	data, err := os.ReadFile("../../testdata/vectors/planner_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID    string
			Given struct {
				ExitMS    float64 `json:"exit_ms"`
				ExitDM    float64 `json:"exit_d_m"`
				Ratio     float64 `json:"density_ratio"`
				Decay     float64 `json:"decay_constant"`
				Criterion float64 `json:"criterion_ms"`
				Units     any
			}
			Expected struct {
				DistanceM []float64 `json:"distance_m"`
			}
		}
	}
	// Other cases give and expect other things under these names.
	_ = json.Unmarshal(data, &file)
	found := false
	for _, c := range file.Cases {
		if c.ID != "D47" {
			continue
		}
		found = true
		const density = 1.1
		unit := booster.Type{Exhaust: &booster.Exhaust{
			ExitSpeedMPS: c.Given.ExitMS, ExitDiameterM: c.Given.ExitDM, ExitDensityKgM3: c.Given.Ratio * density,
			DecayConstant: c.Given.Decay, SpeedCriterionMPS: c.Given.Criterion,
		}}
		for i, n := range c.Given.Units.([]any) {
			clear, ok := unit.KeepClear(int(n.(float64)), density)
			if !ok || clear.Tested {
				t.Fatalf("%+v, %t: want an estimate", clear, ok)
			}
			near(t, "distance", clear.DistanceM, c.Expected.DistanceM[i], 0.01)
		}
		unit.ExhaustKeepClearM = new(35.0)
		clear, ok := unit.KeepClear(2, density)
		if !ok || !clear.Tested || clear.DistanceM != 35 || !clear.HasEstimate {
			t.Errorf("%+v, %t: a tested distance overrides the estimate", clear, ok)
		}
	}
	if !found {
		t.Fatal("no planner case D47")
	}
	if clear, ok := (&booster.Type{}).KeepClear(2, 1.2); ok || clear.DistanceM != 0 {
		t.Errorf("%+v: something is assumed of a type without data", clear)
	}
}

func igniter() *booster.Type {
	return &booster.Type{Circuit: &booster.Circuit{IgniterOhm: 1.2, AllFireA: 3.5, NoFireA: 1, MinSourceV: 22, MaxSourceV: 32}}
}

// Ohm's law, and Kirchhoff's sums of each loop.
func TestFiringLineCurrents(t *testing.T) {
	for _, wiring := range []booster.Wiring{booster.Series, booster.Parallel} {
		for n := 1; n <= 8; n++ {
			line := booster.FiringLine{Igniters: n, Wiring: wiring, SourceV: 28, SourceOhm: 0.3, CableOhm: 0.8, LeadOhm: 0.1}
			c, ok, err := igniter().CheckCircuit(line)
			if err != nil || !ok {
				t.Fatal(err, ok)
			}
			drops, total := c.IgniterA*1.3, c.IgniterA
			if wiring == booster.Series {
				drops *= float64(n)
			} else {
				total *= float64(n)
			}
			near(t, "total", c.TotalA, total, 1e-12)
			near(t, "volts around the loop", c.TotalA*1.1+drops, 28, 1e-12)
			line.SourceV, _ = igniter().LeastVoltageV(line)
			c, _, _ = igniter().CheckCircuit(line)
			near(t, "current at the least voltage", c.IgniterA, 3.5, 1e-12)
		}
	}
}

func TestFiringLineJudged(t *testing.T) {
	line := booster.FiringLine{Igniters: 4, Wiring: booster.Series, SourceV: 28, SourceOhm: 0.3, CableOhm: 0.8, TestA: 0.05}
	c, _, _ := igniter().CheckCircuit(line)
	if c.Firing != booster.SureToFire || !c.VoltageFits || !c.TestSafe || !c.Good() {
		t.Errorf("four in series: %+v", c)
	}
	line.Wiring = booster.Parallel
	if c, _, _ = igniter().CheckCircuit(line); c.Firing != booster.SureToFire {
		t.Errorf("four in parallel: %+v", c)
	}
	line.Igniters = 8
	if c, _, _ = igniter().CheckCircuit(line); c.Firing != booster.MayFire || c.Good() {
		t.Errorf("eight in parallel: %+v", c)
	}
	line.CableOhm = 12
	if c, _, _ = igniter().CheckCircuit(line); c.Firing != booster.SureNotFire {
		t.Errorf("behind a long cable: %+v", c)
	}
	// The lesser of 50 mA and a tenth of no-fire.
	weak := igniter()
	weak.Circuit.NoFireA = 0.2
	line.TestA = 0.03
	if c, _, _ = weak.CheckCircuit(line); c.TestSafe || math.Abs(c.TestLimitA-0.02) > 1e-15 {
		t.Errorf("30 mA at a no-fire of 0.2 A: %+v", c)
	}
	strong := igniter()
	strong.Circuit.NoFireA = 5
	strong.Circuit.AllFireA = 9
	line.TestA = 0.06
	if c, _, _ = strong.CheckCircuit(line); c.TestSafe || c.TestLimitA != 0.05 {
		t.Errorf("60 mA at a no-fire of 5 A: %+v", c)
	}
	if _, ok, err := (&booster.Type{}).CheckCircuit(line); ok || err != nil {
		t.Error("a type without an igniter is checked")
	}
	var list violation.List
	if _, _, err := igniter().CheckCircuit(booster.FiringLine{SourceV: math.NaN()}); !errors.As(err, &list) || len(list) != 3 {
		t.Errorf("got %v", err)
	}
}

// 30 CFR 56.6310: 15 minutes where firing is electric, 30 otherwise.
func TestMisfireWait(t *testing.T) {
	if kind := igniter(); kind.LeastWaitS() != 900 || kind.WaitTooShort() {
		t.Error("a type that states no wait has none, and is not judged")
	}
	kind := &booster.Type{WaitingTimeS: new(1200.0)}
	if kind.LeastWaitS() != 1800 || !kind.WaitTooShort() {
		t.Error("20 minutes pass where firing is not said to be electric")
	}
	kind.Circuit = igniter().Circuit
	if kind.WaitTooShort() {
		t.Error("20 minutes are refused where firing is electric")
	}
}
