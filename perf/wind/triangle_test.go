package wind

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

const knot = 1852.0 / 3600

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.10g, want %.10g within %g", what, got, want, tolerance)
	}
}

func drawShip(t *rapid.T) Ship {
	return Ship{
		CourseDeg:     rapid.Float64Range(0, 360).Draw(t, "course"),
		SpeedMPS:      rapid.Float64Range(0, 20).Draw(t, "ship"),
		AxisOffsetDeg: rapid.Float64Range(-30, 30).Draw(t, "axis"),
	}
}

func drawVector(t *rapid.T) Vector {
	return Vector{
		FromDeg:  rapid.Float64Range(0, 360).Draw(t, "from"),
		SpeedMPS: rapid.Float64Range(0, 40).Draw(t, "wind"),
	}
}

// apart gives the size of the difference of two winds in the same frame.
func apart(a, b Vector) float64 {
	sinA, cosA := sincos(a.FromDeg)
	sinB, cosB := sincos(b.FromDeg)
	return math.Hypot(a.SpeedMPS*cosA-b.SpeedMPS*cosB, a.SpeedMPS*sinA-b.SpeedMPS*sinB)
}

func TestNaturalUndoesOverDeck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ship, wind := drawShip(t), drawVector(t)
		felt := ship.OverDeck(wind)
		back := ship.Natural(Vector{felt.RelativeFromDeg, felt.SpeedMPS})
		if d := apart(wind, back); d > 1e-9 {
			t.Fatalf("%+v came back as %+v, %g m/s off", wind, back, d)
		}
		if math.Abs(back.SpeedMPS-wind.SpeedMPS) > 1e-9 {
			t.Fatalf("speed %v came back as %v", wind.SpeedMPS, back.SpeedMPS)
		}
		if wind.SpeedMPS > 0.1 && math.Abs(turn(wind.FromDeg, back.FromDeg)) > 1e-9 {
			t.Fatalf("direction %v came back as %v", wind.FromDeg, back.FromDeg)
		}
	})
}

// The parts along and across the axis are those of the wind over deck itself.
func TestPartsMatchTheWindOverDeck(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ship, wind := drawShip(t), drawVector(t)
		felt := ship.OverDeck(wind)
		sin, cos := sincos(felt.RelativeFromDeg - ship.AxisOffsetDeg)
		if math.Abs(felt.HeadwindMPS-felt.SpeedMPS*cos) > 1e-9 || math.Abs(felt.CrosswindMPS-felt.SpeedMPS*sin) > 1e-9 {
			t.Fatalf("%+v: %v along, %v across", felt, felt.SpeedMPS*cos, felt.SpeedMPS*sin)
		}
		if math.Abs(FullCredit().Headwind(felt)-felt.HeadwindMPS) > 1e-12 {
			t.Fatal("full credit is not the headwind")
		}
	})
}

func TestCardinalWindsAreExact(t *testing.T) {
	felt := Ship{CourseDeg: 270, SpeedMPS: 10}.OverDeck(Vector{0, 20})
	if felt.HeadwindMPS != 10 || felt.CrosswindMPS != 20 {
		t.Errorf("wind abeam: %+v", felt)
	}
	felt = Ship{CourseDeg: 270, SpeedMPS: 12}.OverDeck(Vector{90, 20})
	if felt.HeadwindMPS != -8 || felt.CrosswindMPS != 0 || felt.RelativeFromDeg != 180 {
		t.Errorf("wind astern: %+v", felt)
	}
	felt = Ship{CourseDeg: 123}.OverDeck(Vector{})
	if felt != (OverDeck{}) {
		t.Errorf("calm at anchor: %+v", felt)
	}
}

func TestCreditTouchesTheNaturalPartOnly(t *testing.T) {
	half := Credit{HeadwindPart: 0.5, TailwindFactor: 1.5}
	rapid.Check(t, func(t *rapid.T) {
		ship, wind := drawShip(t), drawVector(t)
		felt := ship.OverDeck(wind)
		credited := half.Headwind(felt)
		if credited > felt.HeadwindMPS+1e-12 {
			t.Fatalf("credited %v of %v", credited, felt.HeadwindMPS)
		}
		calm := ship.OverDeck(Vector{})
		if half.Headwind(calm) != calm.HeadwindMPS {
			t.Fatal("the ship's own speed was factored")
		}
		back, ok := half.Felt(credited, felt.ShipHeadwindMPS)
		if !ok || math.Abs(back-felt.HeadwindMPS) > 1e-9 {
			t.Fatalf("felt %v came back as %v", felt.HeadwindMPS, back)
		}
	})
	if _, ok := (Credit{HeadwindPart: 0, TailwindFactor: 1.5}).Felt(12, 10); ok {
		t.Error("no credit, yet some wind is enough")
	}
}

func TestLineUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		wind := drawVector(t)
		offset := rapid.Float64Range(-20, 20).Draw(t, "axis")
		want := rapid.Float64Range(0, 40).Draw(t, "headwind")
		course, speed, ok := LineUp(wind, offset, want)
		if !ok {
			return
		}
		felt := Ship{course, speed, offset}.OverDeck(wind)
		if math.Abs(felt.CrosswindMPS) > 1e-6 || math.Abs(felt.HeadwindMPS-want) > 1e-6 {
			t.Fatalf("course %v at %v: %+v, want headwind %v", course, speed, felt, want)
		}
	})
	if _, _, ok := LineUp(Vector{30, 1}, 9, 12); ok {
		t.Error("1 m/s cannot be lined up with an axis 9 degrees off at 12 m/s")
	}
	if _, _, ok := LineUp(Vector{}, 0, 12); ok {
		t.Error("a calm has no direction")
	}
}

// brute is Use by trying directions across the spread one by one.
func brute(n Natural, s Ship, c Credit) (credited, crosswind, tailwind, speed float64) {
	credited = math.Inf(1)
	for _, st := range n.states() {
		for i := -200; i <= 200; i++ {
			felt := s.OverDeck(Vector{st.FromDeg + n.SpreadDeg*float64(i)/200, st.SpeedMPS})
			credited = min(credited, c.Headwind(felt))
			crosswind = max(crosswind, math.Abs(felt.CrosswindMPS))
			tailwind = max(tailwind, -felt.HeadwindMPS)
			speed = max(speed, felt.SpeedMPS)
		}
	}
	return credited, crosswind, tailwind, speed
}

func drawNatural(t *rapid.T) Natural {
	from := rapid.Float64Range(0, 360).Draw(t, "from")
	lull := rapid.Float64Range(0, 20).Draw(t, "lull")
	mean := lull + rapid.Float64Range(0, 10).Draw(t, "mean above lull")
	gust := mean + rapid.Float64Range(0, 10).Draw(t, "gust above mean")
	spread := rapid.SampledFrom([]float64{0, 0, 5, 15, 60}).Draw(t, "spread")
	n := Gusting(from, mean, &lull, &gust, spread)
	if rapid.Bool().Draw(t, "no lull") {
		n.Lull = nil
	}
	if rapid.Bool().Draw(t, "no gust") {
		n.Gust = nil
	}
	return n
}

func drawCredit(t *rapid.T) Credit {
	return rapid.SampledFrom([]Credit{FullCredit(), {0.5, 1.5}, {0, 1}}).Draw(t, "credit")
}

func TestUseTakesTheWorstOfEveryState(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ship, wind, credit := drawShip(t), drawNatural(t), drawCredit(t)
		used := wind.Use(ship, credit)
		credited, crosswind, tailwind, speed := brute(wind, ship, credit)
		// The grid misses an extreme between two directions by wind x step^2/8.
		step := wind.SpreadDeg / 200 * math.Pi / 180
		slack := 1e-9 + 60*step*step
		for _, c := range []struct {
			what      string
			got, want float64
		}{
			{"credited headwind", -used.CreditedHeadwindMPS, -credited},
			{"crosswind", math.Abs(used.CrosswindMPS), crosswind},
			{"tailwind", used.TailwindMPS, max(0, tailwind)},
			{"speed", used.GreatestSpeedMPS, speed},
		} {
			if c.got < c.want-1e-9 || c.got > c.want+slack {
				t.Fatalf("%s %v, by trial %v (%+v)", c.what, c.got, c.want, used)
			}
		}
	})
}

func TestPlannedOn(t *testing.T) {
	lull, gust := 5.0, 15.0
	wind := Gusting(0, 10, &lull, &gust, 0)
	for _, c := range []struct {
		course             float64
		on                 string
		headwind, crossing float64
	}{
		{0, "lull", 13, 0},
		{180, "gust", -7, 0},
		{90, "mean", 8, -15},
	} {
		used := wind.Use(Ship{CourseDeg: c.course, SpeedMPS: 8}, FullCredit())
		if used.PlannedOn != c.on || used.CreditedHeadwindMPS != c.headwind || used.CrosswindMPS != c.crossing {
			t.Errorf("course %v: %+v", c.course, used)
		}
	}
}
