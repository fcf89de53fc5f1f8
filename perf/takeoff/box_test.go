package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// Anywhere inside a box the required run fits, whatever the firing it was made
// for: at random points and, more often, at random corners.
func TestBoxHoldsInside(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var schedule booster.Schedule
	points, boxes, wanted, shrunk := 0, 0, 400, 0.0
	if testing.Short() {
		wanted = 10
	}
	for boxes < wanted {
		s, f := randomSetting(rng)
		if rng.IntN(5) == 0 {
			s.Units, f = nil, takeoff.Firing{}
		}
		runner, err := takeoff.NewRunner(s)
		if err != nil {
			t.Fatal(err)
		}
		f.Schedule(&schedule, s.Units)
		roll := runner.Roll(&schedule)
		if !roll.LiftsOff {
			continue
		}
		policy := takeoff.DefaultPolicy()
		policy.RunFactor = 1.1
		q := takeoff.BoxQuestion{
			Units: s.Units, Firing: f, Policy: policy, AvailableM: 1.1 * roll.RunM * (1 + 0.3*rng.Float64()),
			Covered: rng.IntN(4) == 0,
		}
		box, ok := runner.Box(&schedule, q)
		if !ok {
			if !q.Covered {
				t.Fatalf("%+v: no box around a run that fits", s)
			}
			continue
		}
		boxes++
		shrunk += box.Shrunk
		for range 25 {
			points++
			pick := func(r takeoff.BoxRange) float64 {
				switch rng.IntN(4) {
				case 0:
					return r.Low
				case 1:
					return r.High
				}
				return r.Low + rng.Float64()*(r.High-r.Low)
			}
			p := s
			p.HeadwindMPS, p.GrossMassKG = pick(box.HeadwindMPS), pick(box.GrossMassKG)
			p.Air.TemperatureC = pick(box.AirC)
			p.Air.DensityKgM3 = air.DensityKgM3(p.Air.PressurePa, p.Air.TemperatureC, p.Air.RelativeHumidity)
			p.Units = append([]booster.Unit(nil), s.Units...)
			for i := range p.Units {
				p.Units[i].GrainTemperatureC = pick(*box.GrainC)
			}
			moved, err := takeoff.NewRunner(p)
			if err != nil {
				t.Fatal(err)
			}
			f.Schedule(&schedule, p.Units)
			roll := moved.Roll(&schedule)
			available := q.AvailableM - box.SpotM
			if !roll.LiftsOff || roll.RunM*policy.RunFactor > available {
				t.Errorf("box %+v\nfiring %+v: %g kg, %g m/s, %g degC: required run %g m of %g m",
					box, f, p.GrossMassKG, p.HeadwindMPS, p.Air.TemperatureC, roll.RunM*policy.RunFactor, available)
			}
			if q.Covered && !moved.Covered(&schedule, p.Units, f, policy, available) {
				t.Errorf("box %+v: not covered inside", box)
			}
		}
	}
	t.Logf("%d points in %d boxes, kept %.0f %% of the way to the sides", points, boxes, 100*shrunk/float64(boxes))
}

// Each side is where the run just fits, when nothing else departs.
func TestBoxOfReference(t *testing.T) {
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	runner, schedule, roll := rollOf(t, s, rolling(3.5))
	limit := 7.0
	q := takeoff.BoxQuestion{
		Units: s.Units, Firing: rolling(3.5), Policy: takeoff.DefaultPolicy(), AvailableM: roll.RunM + 25, CrosswindLimitMPS: &limit,
	}
	box, ok := runner.Box(schedule, q)
	if !ok {
		t.Fatal("no box")
	}
	least := runner.LeastHeadwind(schedule, takeoff.LimitQuestion{
		Units: s.Units, Firing: q.Firing, Factor: 1, AvailableM: q.AvailableM,
	}).Value
	within(t, "part of the way to the least headwind", (s.HeadwindMPS-box.HeadwindMPS.Low)/(s.HeadwindMPS-least), box.Shrunk, 1e-5)
	within(t, "part of the spare run", box.SpotM/25, box.Shrunk, 1e-5)
	if !(box.Shrunk > 0.1 && box.Shrunk < 1) || box.GrossMassKG.High <= s.GrossMassKG || !box.GrossMassKG.HighFound ||
		box.AirC.High <= 15 || box.GrainC.Low >= 15 || box.GrainC.High <= 15 || *box.CrosswindMPS != 7 {
		t.Errorf("%+v", box)
	}
	// A larger part would not hold: some corner of it fails.
	if _, ok := runner.Box(schedule, takeoff.BoxQuestion{
		Units: s.Units, Firing: q.Firing, Policy: q.Policy, AvailableM: roll.RunM - 1,
	}); ok {
		t.Error("a box around a run that does not fit")
	}
}

func TestLiveConditionsHoldOrVoid(t *testing.T) {
	until := time.Date(2031, 5, 4, 6, 30, 0, 0, time.UTC)
	box := takeoff.Box{
		HeadwindMPS:  takeoff.BoxRange{Low: 12, High: 25},
		GrossMassKG:  takeoff.BoxRange{Low: 4000, High: 5200},
		AirC:         takeoff.BoxRange{Low: -5, High: 31},
		GrainC:       &takeoff.BoxRange{Low: 8, High: 30},
		SpotM:        2,
		CrosswindMPS: new(6.0),
	}
	sound := func() takeoff.Live {
		return takeoff.Live{
			HeadwindMPS: new(12.0), CrosswindMPS: new(-6.0), GrossMassKG: new(5200.0), AirC: new(20.0),
			GrainC: []float64{8, 30}, SpotM: new(-2.0), Now: &until,
		}
	}
	if items, holds := box.Check(sound(), &until); !holds || len(items) != 7 {
		t.Errorf("at its ends the box must hold: %+v", items)
	}
	late := until.Add(time.Second)
	for quantity, spoil := range map[string]func(*takeoff.Live){
		"headwind_mps":        func(l *takeoff.Live) { *l.HeadwindMPS = 11.9 },
		"crosswind_mps":       func(l *takeoff.Live) { *l.CrosswindMPS = -6.1 },
		"gross_mass_kg":       func(l *takeoff.Live) { l.GrossMassKG = nil },
		"temperature_c":       func(l *takeoff.Live) { *l.AirC = math.NaN() },
		"grain_temperature_c": func(l *takeoff.Live) { l.GrainC[1] = 30.1 },
		"spot_m":              func(l *takeoff.Live) { *l.SpotM = 2.1 },
		"time":                func(l *takeoff.Live) { l.Now = &late },
	} {
		live := sound()
		spoil(&live)
		items, holds := box.Check(live, &until)
		for _, item := range items {
			if item.Holds == (item.Quantity == quantity) {
				t.Errorf("%s spoilt: %s holds %t", quantity, item.Quantity, item.Holds)
			}
		}
		if holds {
			t.Errorf("%s spoilt: the box holds", quantity)
		}
	}
	live := sound()
	live.Now, live.GrainC = nil, nil
	if items, holds := box.Check(live, &until); holds || len(items) != 7 {
		t.Errorf("clock and grain not known: holds %t, %+v", holds, items)
	}
}
