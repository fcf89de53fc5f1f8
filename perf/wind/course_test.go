package wind

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"bowroll/perf/violation"
)

// find answers a query of one load, or fails the test.
func find(t *testing.T, q CourseQuery) *CourseAnswer {
	t.Helper()
	if q.Credit == (Credit{}) {
		q.Credit = FullCredit()
	}
	answer, err := FindCourse(q)
	if err != nil {
		t.Fatal(err)
	}
	return answer
}

func loads(l Limits) []Load { return []Load{{"sortie", l}} }

func TestCalmIsThePresentCourse(t *testing.T) {
	answer := find(t, CourseQuery{
		Ship: ShipRange{SteerageMPS: 2, GreatestMPS: 12}, PresentCourseDeg: 77,
		Loads: loads(Limits{LeastHeadwindMPS: some(9), GreatestCrosswindMPS: some(1)}),
	})
	r := answer.Recommended
	if len(answer.Open) != 1 || answer.Open[0].WidthDeg != 360 {
		t.Errorf("open %+v", answer.Open)
	}
	if r.CourseDeg != 77 || r.ChangeDeg != 0 || r.SpeedMPS != 9 || r.LeastMPS != 9 || r.GreatestMPS != 12 {
		t.Errorf("recommended %+v", r)
	}
	if answer.Faster.SpeedMPS != 12 || *answer.PresentNeedsMPS != 9 {
		t.Errorf("faster %+v, present needs %v", answer.Faster, *answer.PresentNeedsMPS)
	}
}

func TestCalmAndTooSlow(t *testing.T) {
	answer := find(t, CourseQuery{
		Ship: ShipRange{GreatestMPS: 12}, PresentCourseDeg: 77, Loads: loads(Limits{LeastHeadwindMPS: some(14)}),
	})
	short := answer.Shortfall
	if answer.Recommended != nil || short == nil {
		t.Fatalf("%+v", answer)
	}
	near(t, "worst miss", short.WorstMPS, 2, 1e-5)
	if b := short.Best; b.CourseDeg != 77 || math.Abs(b.SpeedMPS-12) > 1e-4 {
		t.Errorf("best %+v", b)
	}
	if m := short.Missed; len(m) != 1 || m[0].Limit != Headwind || m[0].Load != "sortie" {
		t.Errorf("missed %+v", m)
	}
	if *answer.PresentNeedsMPS != 14 {
		t.Errorf("present needs %v", *answer.PresentNeedsMPS)
	}
	last := answer.Trade[len(answer.Trade)-1]
	if !last.BeyondShip || last.HeldToMPS != 14.5 || last.Option == nil || last.Option.SpeedMPS != 14 {
		t.Errorf("trade %+v", last)
	}
}

// On the keel with a crosswind limit X in wind W the sector is asin(X/W) to
// either side of the wind, and the ship on its near edge.
func TestLeastChangeStopsAtTheCrosswindLimit(t *testing.T) {
	half := math.Asin(3.0/10) * 180 / math.Pi
	for _, c := range []struct{ present, want float64 }{{90, half}, {270, 360 - half}, {5, 5}} {
		answer := find(t, CourseQuery{
			Wind: Steady(0, 10), Ship: ShipRange{GreatestMPS: 8}, PresentCourseDeg: c.present,
			Loads: loads(Limits{LeastHeadwindMPS: some(12), GreatestCrosswindMPS: some(3)}),
		})
		r := answer.Recommended
		// The tie of half a degree is spent on the least speed, which is ahead.
		tied := 0.0
		if c.present != 5 {
			tied = 0.5
		}
		if math.Abs(turn(c.want, r.CourseDeg)) > 0.5+1e-6 {
			t.Errorf("from %v: course %v, want %v", c.present, r.CourseDeg, c.want)
		}
		if tied == 0 {
			_, cos := sincos(r.CourseDeg)
			near(t, "speed", r.SpeedMPS, 12-10*cos, 1e-6)
			continue
		}
		near(t, "from the edge", math.Abs(turn(c.want, r.CourseDeg)), tied, 0.15)
		near(t, "width", answer.Open[0].WidthDeg, 2*half, 2e-6)
		if m := r.Margins; len(m) != 2 || m[0].Limit != Headwind || math.Abs(m[0].MarginMPS) > 1e-9 || m[1].Limit != Crosswind || m[1].MarginMPS < 0 {
			t.Errorf("margins %+v", m)
		}
	}
}

// With the axis off the keel and a wind lighter than V sin(offset), no course
// lines it up; what is left across is V sin(offset) - W at best.
func TestWindLighterThanTheShipCanLineUp(t *testing.T) {
	q := CourseQuery{
		Wind: Steady(200, 1), PresentCourseDeg: 0,
		Ship:  ShipRange{LeastMPS: 10, GreatestMPS: 10, AxisOffsetDeg: 9},
		Loads: loads(Limits{GreatestCrosswindMPS: some(0.3)}),
	}
	sin, _ := sincos(9)
	answer := find(t, q)
	if answer.Shortfall == nil {
		t.Fatalf("%+v", answer.Recommended)
	}
	near(t, "worst miss", answer.Shortfall.WorstMPS, 10*sin-1-0.3, 1e-4)
	// The wind must come from abeam of the axis to starboard.
	near(t, "best course", answer.Shortfall.Best.CourseDeg, 200-90-9, 1)

	q.Loads = loads(Limits{GreatestCrosswindMPS: some(10*sin - 0.9)})
	if answer := find(t, q); answer.Recommended == nil {
		t.Errorf("shortfall %+v", answer.Shortfall)
	}
}

// An axis to port wants the wind finer on the port bow: the course that the
// wind triangle gives in closed form is open, at the least speed there.
func TestAxisOffTheKeelAgreesWithLineUp(t *testing.T) {
	wind := Vector{60, 7}
	course, speed, ok := LineUp(wind, -10, 14)
	if !ok {
		t.Fatal("not lined up")
	}
	answer := find(t, CourseQuery{
		Wind: Natural{Mean: wind}, PresentCourseDeg: course, Ship: ShipRange{GreatestMPS: 15, AxisOffsetDeg: -10},
		Loads: loads(Limits{LeastHeadwindMPS: some(14), GreatestCrosswindMPS: some(0.01)}),
	})
	r := answer.Recommended
	near(t, "change", r.ChangeDeg, 0, 0.5)
	near(t, "speed", r.SpeedMPS, speed, 0.02)
}

// A ship slower than the wind cannot run from it; with the wind astern she must
// turn into it.
func TestWindFromAstern(t *testing.T) {
	q := CourseQuery{
		Wind: Steady(90, 20*knot), PresentCourseDeg: 270, Ship: ShipRange{GreatestMPS: 12 * knot},
		Loads:   loads(Limits{GreatestTailwindMPS: some(0)}),
		LaunchS: some(600),
	}
	q.Ship.TurnRateDegPS = some(1)
	answer := find(t, q)
	// On her greatest speed she keeps 12 kt = 20 kt cos(x) astern: x is 53.13 degrees.
	edge := math.Acos(12.0/20) * 180 / math.Pi
	near(t, "change", math.Abs(answer.Recommended.ChangeDeg), edge, 0.5+1e-5)
	if answer.Recommended.ChangeDeg < 0 {
		t.Error("of two sides alike, starboard")
	}
	near(t, "present needs", *answer.PresentNeedsMPS, 20*knot, 1e-9)
	room := answer.Recommended.SeaRoom
	near(t, "turn", *room.TurnS, math.Abs(answer.Recommended.ChangeDeg), 1e-9)
	near(t, "total", room.TotalS, *room.TurnS+600, 1e-9)
	near(t, "distance", room.LaunchDistanceM, answer.Recommended.SpeedMPS*600, 1e-9)

	q.Ship.GreatestMPS = 25 * knot
	if r := find(t, q).Recommended; r.ChangeDeg != 0 || math.Abs(r.SpeedMPS-20*knot) > 1e-6 {
		t.Errorf("a ship faster than the wind outruns it: %+v", r)
	}
}

// More wind than the deck's ceiling: the ship runs before it to feel less.
func TestCeilingIsKeptByRunning(t *testing.T) {
	answer := find(t, CourseQuery{
		Wind: Steady(0, 25), PresentCourseDeg: 0, Ship: ShipRange{SteerageMPS: 3, GreatestMPS: 10},
		Loads: loads(Limits{CeilingMPS: some(18)}),
	})
	r := answer.Recommended
	if r == nil {
		t.Fatal("nothing open")
	}
	if felt := r.Wind.GreatestSpeedMPS; felt > 18+1e-9 || math.Abs(r.ChangeDeg) < 90 {
		t.Errorf("felt %v on %+v", felt, r)
	}
}

// Running at 180: an arc closes on itself with the right area under it.
func TestSeaRoomOfAReversal(t *testing.T) {
	room := seaRoom(180, 10, 100, some(2))
	radius := 10 / (2 * math.Pi / 180)
	near(t, "turn", *room.TurnS, 90, 1e-12)
	near(t, "along", room.AlongTrackM, -1000, 1e-9)
	near(t, "off", room.OffTrackM, 2*radius, 1e-9)
	room = seaRoom(-90, 10, 100, some(2))
	near(t, "along", room.AlongTrackM, radius, 1e-9)
	near(t, "off", room.OffTrackM, radius+1000, 1e-9)
	if room := seaRoom(30, 10, 100, nil); room.TurnS != nil || room.TotalS != 100 {
		t.Errorf("no rate of turn: %+v", room)
	}
}

func TestClosedSectorsAreKeptOut(t *testing.T) {
	q := CourseQuery{
		Wind: Steady(0, 10), PresentCourseDeg: 0, Ship: ShipRange{GreatestMPS: 10},
		Loads:  loads(Limits{LeastHeadwindMPS: some(14)}),
		Closed: []Sector{{FromDeg: 330, ToDeg: 20}},
	}
	r := find(t, q).Recommended
	if r.CourseDeg < 20 || r.CourseDeg > 20.5 {
		t.Errorf("recommended %+v", r)
	}
	q.Closed[0].RoomM, q.LaunchS = some(3000), some(600) // 5 m/s for 10 min
	r = find(t, q).Recommended
	if r.ChangeDeg != 0 || r.GreatestMPS != 5 {
		t.Errorf("with 3 000 m of room: %+v", r)
	}
	*q.Closed[0].RoomM = 1000
	if r = find(t, q).Recommended; r.CourseDeg < 20 {
		t.Errorf("with 1 000 m of room: %+v", r)
	}
	q.Closed = []Sector{{FromDeg: 0, ToDeg: 360}}
	if short := find(t, q).Shortfall; short == nil || short.Best != nil {
		t.Errorf("every course closed: %+v", short)
	}
}

func TestTheBindingLoadIsNamed(t *testing.T) {
	q := CourseQuery{
		Wind: Steady(0, 6), PresentCourseDeg: 0, Ship: ShipRange{GreatestMPS: 10},
		Loads: []Load{
			{"light", Limits{LeastHeadwindMPS: some(8), GreatestCrosswindMPS: some(5)}},
			{"heavy", Limits{LeastHeadwindMPS: some(18), GreatestCrosswindMPS: some(7)}},
			{"narrow", Limits{LeastHeadwindMPS: some(4), GreatestCrosswindMPS: some(2)}},
		},
	}
	short := find(t, q).Shortfall
	near(t, "worst miss", short.WorstMPS, 2, 1e-5)
	if short.Missed[0].Load != "heavy" || len(short.OpenWithout) != 1 || short.OpenWithout[0] != "heavy" {
		t.Errorf("%+v", short)
	}
	q.Loads[1].LeastHeadwindMPS = some(15)
	r := find(t, q).Recommended
	if r.Margins[0].Load != "heavy" || r.Margins[1].Load != "narrow" || r.SpeedMPS != 9 {
		t.Errorf("%+v", r)
	}
}

// A limit of no crosswind at all off the keel leaves one speed on each course;
// it is followed, not hunted to the end of the patience.
func TestNoCrosswindAtAllOffTheKeel(t *testing.T) {
	answer := find(t, CourseQuery{
		Wind: Steady(0, 8), PresentCourseDeg: 0, Ship: ShipRange{GreatestMPS: 15, AxisOffsetDeg: 10},
		Loads: loads(Limits{GreatestCrosswindMPS: some(0), LeastHeadwindMPS: some(10)}),
	})
	r := answer.Recommended
	if r == nil {
		t.Fatal("nothing open")
	}
	course, speed, _ := LineUp(Vector{0, 8}, 10, 10)
	near(t, "crosswind", r.Wind.CrosswindMPS, 0, 1e-6)
	near(t, "course", turn(r.CourseDeg, course), 0, 0.51)
	near(t, "speed", r.SpeedMPS, speed, 0.5)
}

func TestFindCourseRefusesWithEveryFault(t *testing.T) {
	q := CourseQuery{
		Wind:             Gusting(400, 10, some(12), some(8), 100),
		Ship:             ShipRange{LeastMPS: 5, SteerageMPS: 9, GreatestMPS: 8, AxisOffsetDeg: math.NaN(), TurnRateDegPS: some(0)},
		PresentCourseDeg: -1,
		Closed:           []Sector{{FromDeg: 10, ToDeg: 10}, {FromDeg: 10, ToDeg: 20, RoomM: some(5)}},
		Loads:            []Load{{"a", Limits{CeilingMPS: some(-1)}}, {"a", Limits{}}},
		StepDeg:          100,
	}
	_, err := FindCourse(q)
	var faults violation.List
	if !errors.As(err, &faults) {
		t.Fatal(err)
	}
	text := faults.Error()
	for _, field := range []string{
		"wind.from_deg", "wind.direction_spread_deg", "wind.lull_from_deg", "wind.gust_from_deg", "wind.lull_mps", "wind.gust_mps",
		"credit.tailwind_factor", "ship.greatest_mps", "ship.axis_offset_deg", "ship.turn_rate_deg_ps", "present_course_deg",
		"closed[0].to_deg", "closed[1].room_m", "loads[0].ceiling_mps", "loads[1].name", "step_deg",
	} {
		if !strings.Contains(text, field+" is ") {
			t.Errorf("%s is not named in\n%s", field, text)
		}
	}
	if _, err := FindCourse(CourseQuery{Credit: FullCredit()}); err == nil || !strings.Contains(err.Error(), "loads is absent") {
		t.Errorf("no loads: %v", err)
	}
}

// The same query gives the same bits.
func TestFindCourseIsDeterministic(t *testing.T) {
	q := CourseQuery{
		Wind: Gusting(33, 8, some(6), some(11), 12), Credit: Credit{0.5, 1.5}, PresentCourseDeg: 250,
		Ship:  ShipRange{SteerageMPS: 2, GreatestMPS: 13, AxisOffsetDeg: -6},
		Loads: loads(Limits{some(12), nil, some(6), some(2), some(22)}),
	}
	first := find(t, q).Recommended
	for range 5 {
		if again := find(t, q).Recommended; again.CourseDeg != first.CourseDeg || again.SpeedMPS != first.SpeedMPS {
			t.Fatalf("%+v, then %+v", first, again)
		}
	}
}

func BenchmarkFindCourse(b *testing.B) {
	q := CourseQuery{
		Wind: Gusting(33, 8, some(6), some(11), 12), Credit: FullCredit(), PresentCourseDeg: 250,
		Ship:  ShipRange{SteerageMPS: 2, GreatestMPS: 13, AxisOffsetDeg: -6},
		Loads: loads(Limits{some(12), nil, some(6), some(2), some(22)}),
	}
	for b.Loop() {
		if _, err := FindCourse(q); err != nil {
			b.Fatal(err)
		}
	}
}

// At the ends of every range the answer is still made of finite numbers: JSON
// can hold no others.
func TestFindCourseAtTheEndsOfTheRanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pick := func(name string, of ...float64) float64 { return rapid.SampledFrom(of).Draw(t, name) }
		angle := func(name string) float64 { return pick(name, 0, 1e-300, 90, 180, 269.9999999999, 270, 360) }
		limit := func(name string, of ...float64) *float64 {
			if rapid.Bool().Draw(t, "no "+name) {
				return nil
			}
			return some(pick(name, of...))
		}
		q := CourseQuery{
			Wind:   Gusting(angle("from"), pick("mean", 1e-300, 1e-9, 5, 60), limit("lull", 0, 1e-300), limit("gust", 60, 80), pick("spread", 0, 1e-9, 45, 90)),
			Credit: Credit{pick("credit", 0, 0.5, 1), pick("factor", 1, 1.5, 3)},
			Ship: ShipRange{
				SteerageMPS: pick("steerage", 0, 1e-300, 5), GreatestMPS: pick("greatest", 5, 30),
				AxisOffsetDeg: pick("axis", -90, -1e-9, 0, 10, 90), TurnRateDegPS: limit("rate", 0.01, 20),
			},
			PresentCourseDeg: angle("present"),
			LaunchS:          some(pick("launch", 0, 600, 86400)),
			StepDeg:          pick("step", 0, 0.5, 7, 90),
			Loads: loads(Limits{
				limit("headwind", -60, 0, 5, 80), limit("most", -60, 0, 5, 80), limit("crosswind", 0, 1e-9, 5, 80),
				limit("tailwind", 0, 5, 80), limit("ceiling", 0, 1e-9, 5, 60, 120),
			}),
		}
		if rapid.Bool().Draw(t, "sector") {
			from, to := angle("sector from"), angle("sector to")
			if circle(to-from) != 0 || to-from == 360 {
				q.Closed = []Sector{{from, to, limit("room", 0, 1000, 1e7)}}
			}
		}
		answer, err := FindCourse(q)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(answer); err != nil {
			t.Fatalf("%v in %+v", err, answer)
		}
		if (answer.Recommended == nil) == (answer.Shortfall == nil) {
			t.Fatalf("recommended %v, shortfall %v", answer.Recommended, answer.Shortfall)
		}
		o := answer.Recommended
		if o == nil {
			o = answer.Shortfall.Best
		}
		if o != nil && (o.SpeedMPS < q.Ship.least()-1e-6 || o.SpeedMPS > q.Ship.GreatestMPS+1e-6 || o.CourseDeg < 0 || o.CourseDeg >= 360) {
			t.Fatalf("%+v is not for this ship", o)
		}
	})
}

// What the ship can just do by the decimal figures is open, whatever their
// binary forms add up to: 7.1 + 10.2 falls short of 17.3.
func TestJustEnoughIsOpen(t *testing.T) {
	wind, ship := 7.1, 10.2
	if wind+ship >= 17.3 {
		t.Fatal("the figures add up; choose others")
	}
	answer := find(t, CourseQuery{
		Wind: Steady(20, wind), Ship: ShipRange{GreatestMPS: ship}, PresentCourseDeg: 110,
		Loads: loads(Limits{LeastHeadwindMPS: some(17.3)}),
	})
	if answer.Recommended == nil {
		t.Fatalf("%+v", answer.Shortfall)
	}
	near(t, "course", answer.Recommended.CourseDeg, 20, 1e-2)
}
