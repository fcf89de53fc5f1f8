package wind

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bowroll/perf/violation"
)

var quality = Quality{LeastAveragingS: 60, GreatestAveragingS: 600, AgreeMPS: 2}

func masts() []Anemometer {
	return []Anemometer{
		{Name: "port mast", Corrections: []Correction{
			{FromDeg: 300, ToDeg: 60, SpeedFactor: 0.9, TurnDeg: 4, SigmaMPS: 0.3},
			{FromDeg: 60, ToDeg: 120, SpeedFactor: 1, Refused: true},
			{FromDeg: 120, ToDeg: 240, SpeedFactor: 1.1, TurnDeg: -3},
		}},
		{Name: "starboard mast"},
	}
}

func reading(name string, from, speed float64) Reading {
	return Reading{Anemometer: name, Felt: Felt{RelativeFromDeg: from, SpeedMPS: speed}, AveragingS: 120}
}

func TestResolveCorrectsBySector(t *testing.T) {
	for _, c := range []struct {
		from, wantFrom, wantSpeed float64
		note                      string
	}{
		{350, 354, 9, ""},
		{359, 3, 9, ""},
		{0, 4, 9, ""},
		{59.999, 63.999, 9, ""},
		{60, 60, 10, "masked from 60 to 120 degrees"},
		{120, 117, 11, ""},
		{270, 270, 10, "no correction is known for this direction"},
	} {
		r, err := Resolve([]Reading{reading("port mast", c.from, 10)}, masts(), quality)
		if err != nil {
			t.Fatal(err)
		}
		sensor := r.Sensors[0]
		if sensor.Note != c.note || (r.Hold == HoldNoReading) != (c.note != "") {
			t.Errorf("from %v: %+v", c.from, r)
		}
		if c.note == "" {
			near(t, "direction", r.Felt.RelativeFromDeg, c.wantFrom, 1e-9)
			near(t, "speed", r.Felt.SpeedMPS, c.wantSpeed, 1e-9)
		}
	}
}

func TestSensorsThatDisagreeHoldTheAnswer(t *testing.T) {
	both := []Reading{reading("port mast", 356, 10), reading("starboard mast", 0, 9)}
	r, err := Resolve(both, masts(), quality)
	if err != nil || r.Hold != "" {
		t.Fatalf("%+v, %v", r, err)
	}
	near(t, "speed", r.Felt.SpeedMPS, 9, 1e-9)
	near(t, "sigma", r.SigmaMPS, 0.3, 1e-12)

	both[1].SpeedMPS = 11.5
	if r, _ = Resolve(both, masts(), quality); r.Hold != HoldDisagree || math.Abs(r.DifferenceMPS-2.5) > 1e-9 {
		t.Errorf("%+v", r)
	}
	both[1].SpeedMPS, both[1].RelativeFromDeg = 9, 20
	if r, _ = Resolve(both, masts(), quality); r.Hold != HoldDisagree {
		t.Errorf("20 degrees apart: %+v", r)
	}
	// In next to no wind any direction will do.
	if r, _ = Resolve([]Reading{reading("port mast", 0, 0.5), reading("starboard mast", 180, 0.5)}, masts(), quality); r.Hold != "" {
		t.Errorf("light airs: %+v", r)
	}
	// A sensor that is masked cannot disagree.
	if r, _ = Resolve([]Reading{reading("port mast", 80, 30), reading("starboard mast", 80, 9)}, masts(), quality); r.Hold != "" || r.Felt.SpeedMPS != 9 {
		t.Errorf("masked: %+v", r)
	}
}

func TestAveragingOutsideThePolicyIsNotUsed(t *testing.T) {
	short := reading("starboard mast", 0, 9)
	short.AveragingS = 10
	r, err := Resolve([]Reading{short}, masts(), quality)
	if err != nil || r.Hold != HoldNoReading || r.Sensors[0].Note != "averaged over 10 s, less than 60 s" {
		t.Errorf("%+v, %v", r, err)
	}
	short.AveragingS = 1200
	if r, _ = Resolve([]Reading{short}, masts(), quality); r.Sensors[0].Note != "averaged over 1200 s, more than 600 s" {
		t.Errorf("%+v", r)
	}
}

func TestLullAndGustAreTheWorstKnown(t *testing.T) {
	a, b := reading("port mast", 356, 10), reading("starboard mast", 0, 9.5)
	a.LullMPS, b.LullMPS, b.GustMPS = some(8), some(6), some(14)
	q := quality
	q.GustFactor = some(1.4)
	r, err := Resolve([]Reading{a, b}, masts(), q)
	if err != nil {
		t.Fatal(err)
	}
	if *r.Felt.LullMPS != 6 || *r.Felt.GustMPS != 14 || r.GustEstimated || r.LullEstimated {
		t.Errorf("%+v", r)
	}
	b.GustMPS = nil
	r, _ = Resolve([]Reading{b}, masts(), q)
	if !r.GustEstimated || math.Abs(*r.Felt.GustMPS-1.4*9.5) > 1e-12 || r.Felt.LullMPS == nil || r.LullEstimated {
		t.Errorf("%+v", r)
	}
}

// A wind felt, taken back to the sea and felt again is the same, lull and gust
// too, whatever the ship does.
func TestFeltToNaturalAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ship := drawShip(t)
		mean := rapid.Float64Range(0, 30).Draw(t, "mean")
		felt := Felt{rapid.Float64Range(0, 360).Draw(t, "from"), mean, some(mean * 0.7), some(mean * 1.3)}
		natural := felt.Natural(ship)
		for _, c := range []struct {
			vector Vector
			speed  float64
		}{{natural.Mean, mean}, {*natural.Lull, *felt.LullMPS}, {*natural.Gust, *felt.GustMPS}} {
			back := ship.OverDeck(c.vector)
			if apart(Vector{back.RelativeFromDeg, back.SpeedMPS}, Vector{felt.RelativeFromDeg, c.speed}) > 1e-9 {
				t.Fatalf("%v from %v came back as %+v", c.speed, felt.RelativeFromDeg, back)
			}
		}
	})
}

func TestResolveRefusesWithEveryFault(t *testing.T) {
	bad := Reading{Anemometer: "stern", Felt: Felt{-1, math.NaN(), some(-2), some(1)}, AveragingS: -1}
	overlapping := Anemometer{Corrections: []Correction{{0, 90, 3, 90, -1, false}, {80, 80, 1, 0, 0, false}, {350, 10, 1, 0, 0, false}}}
	_, err := Resolve([]Reading{bad}, []Anemometer{overlapping}, Quality{LeastAveragingS: 10, GreatestAveragingS: 5, AgreeMPS: -1, LullFactor: some(2), GustFactor: some(0)})
	var faults violation.List
	if !errors.As(err, &faults) {
		t.Fatal(err)
	}
	for _, field := range []string{
		"readings[0].anemometer", "readings[0].relative_from_deg", "readings[0].speed_mps", "readings[0].lull_mps", "readings[0].averaging_s",
		"anemometers[0].name", "anemometers[0].corrections[0].speed_factor", "anemometers[0].corrections[0].turn_deg",
		"anemometers[0].corrections[0].sigma_mps", "anemometers[0].corrections[1].to_deg", "anemometers[0].corrections[1].from_deg",
		"anemometers[0].corrections[2].from_deg", "quality.greatest_averaging_s", "quality.agree_mps", "quality.lull_factor", "quality.gust_factor",
	} {
		if !strings.Contains(faults.Error(), field+" is ") {
			t.Errorf("%s is not named in\n%s", field, faults.Error())
		}
	}
	if _, err := Resolve(nil, nil, quality); err == nil {
		t.Error("no reading at all was accepted")
	}
}
