package wind

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestHeadUpHasTheLeastCrosswind(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		natural := Vector{rapid.Float64Range(0, 359.9).Draw(t, "from"), rapid.Float64Range(0.1, 30).Draw(t, "wind")}
		offset := rapid.Float64Range(-40, 40).Draw(t, "offset")
		speed := rapid.Float64Range(0, 15).Draw(t, "speed")
		best := HeadUp(natural, offset, speed).OverDeck(natural)
		for course := 0.0; course < 360; course += 0.5 {
			other := Ship{CourseDeg: course, SpeedMPS: speed, AxisOffsetDeg: offset}.OverDeck(natural)
			if math.Abs(other.CrosswindMPS) < math.Abs(best.CrosswindMPS)-1e-9 {
				t.Fatalf("course %v has crosswind %v, HeadUp %v", course, other.CrosswindMPS, best.CrosswindMPS)
			}
		}
		if best.NaturalHeadwindMPS < -1e-9 {
			t.Fatalf("natural wind from astern: %v", best.NaturalHeadwindMPS)
		}
	})
}

func TestHeadUpUnderKeepsTheCeiling(t *testing.T) {
	ceiling := 18.0
	natural := Steady(200, 10)
	ship := HeadUpUnder(natural, 6, 3, 15, &ceiling)
	if felt := natural.Use(ship, FullCredit()).GreatestSpeedMPS; math.Abs(felt-ceiling) > 1e-6 {
		t.Errorf("wind over deck %v, want the ceiling %v", felt, ceiling)
	}
	if ship := HeadUpUnder(natural, 6, 3, 7, &ceiling); ship.SpeedMPS != 7 {
		t.Errorf("speed %v although the ceiling leaves room for 7", ship.SpeedMPS)
	}
}
