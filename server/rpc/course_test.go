package rpc

import (
	"context"
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func findCourse(t *testing.T, req *bowrollv1.WindLimitsFindCourseRequest) *bowrollv1.WindLimitsFindCourseResponse {
	t.Helper()
	out, err := windService(t, 2).FindCourse(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// On the course found for a cycle every launch of it gets off as a take-off by
// itself, with the units it was planned with; a degree beyond the edge of the
// open courses, or a little slower where the headwind binds, one does not.
func TestCourseOfACycleLaunchesItAll(t *testing.T) {
	cycle := testCycle()
	out := findCourse(t, &bowrollv1.WindLimitsFindCourseRequest{Cycle: cycle, PresentCourseDeg: proto.Float64(200)})
	o := out.GetRecommended()
	if o == nil || out.GetBindingLoad() == "" || len(out.GetLoads()) == 0 || o.GetSeaRoom() == nil {
		t.Fatalf("no course: %s", out.GetText())
	}
	planned := plan(t, cycle, 1)
	if len(planned.GetLaunches()) != len(out.GetLoads()) || len(planned.GetHeld()) != len(out.GetHeld()) {
		t.Fatalf("%d launches planned, %d loads", len(planned.GetLaunches()), len(out.GetLoads()))
	}
	held := func(courseDeg, speedMPS float64) (names []string) {
		for _, l := range planned.GetLaunches() {
			s := cycle.GetSorties()[l.GetOrder()-1]
			c := &bowrollv1.TakeoffCase{
				AircraftType: s.GetAircraftType(), Flap: s.GetFlap(), GrossMassKg: s.GrossMassKg, Air: cycle.GetAir(),
				NaturalWind: cycle.GetNaturalWind(), Ship: &bowrollv1.Ship{CourseDeg: &courseDeg, SpeedMps: &speedMPS},
				Deck: cycle.GetDeck(), Spot: s.GetSpot(),
			}
			for _, d := range l.GetDraws() {
				if c.Boosters == nil {
					c.Boosters = &bowrollv1.Boosters{
						Count: proto.Int32(0), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
						Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST},
					}
				}
				*c.Boosters.Count += d.GetUnitCount()
				for _, station := range d.GetStations() {
					c.Boosters.UnitTemperatures = append(c.Boosters.UnitTemperatures, &bowrollv1.UnitTemperature{
						Station: station, GrainTemperatureC: cycleLot(cycle, d.GetLot()).GrainTemperatureC,
					})
				}
			}
			if !goes(compute(t, c, bowrollv1.Section_SECTION_FAILURES).GetOutcome()) {
				names = append(names, l.GetSortie())
			}
		}
		return names
	}
	if names := held(o.GetCourseDeg(), o.GetSpeedMps()+1e-5); len(names) > 0 {
		t.Errorf("on the course recommended %v do not go", names)
	}
	least := out.GetLeastSpeed()
	if names := held(least.GetCourseDeg(), least.GetSpeedMps()-0.01); least.GetSpeedMps() > least.GetLeastSpeedMps()+1e-6 || len(names) == 0 {
		t.Errorf("slower than the least speed %v are held", names)
	}
}

// A wind across the deck is put right by a change of course: 20 kt from north on
// course 270 at 10 kt, with 5 kt of crosswind allowed.
func TestCourseClearsACrosswind(t *testing.T) {
	const knot = 1852.0 / 3600
	out := findCourse(t, &bowrollv1.WindLimitsFindCourseRequest{
		AxisOffsetDeg: proto.Float64(0), LeastSpeedMps: proto.Float64(2 * knot), GreatestSpeedMps: proto.Float64(25 * knot),
		NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(0), SpeedMps: proto.Float64(20 * knot)}, PresentCourseDeg: proto.Float64(270),
		Loads: []*bowrollv1.CourseLoad{{Id: "a", Limits: &bowrollv1.WindBounds{CrosswindLimitMps: proto.Float64(5 * knot), TailwindLimitMps: proto.Float64(0)}}},
	})
	// The crosswind is 20 sin(course): 5 kt is reached asin(1/4) off the wind.
	want := 90 - math.Asin(0.25)*180/math.Pi
	if got := out.GetRecommended().GetChangeDeg(); math.Abs(got-want) > 0.51 || got < want-1e-6 {
		t.Errorf("a change of %v degrees, want %v: %s", got, want, out.GetText())
	}
}

// A load that no wind does for is named, and never passed over.
func TestCourseNamesALoadThatNoWindDoesFor(t *testing.T) {
	heavy := sample()
	heavy.GrossMassKg, heavy.Spot, heavy.Boosters = proto.Float64(5900), "s1", nil
	heavy.Policy = &bowrollv1.Policy{LeastGradient: proto.Float64(0.3)}
	out := findCourse(t, &bowrollv1.WindLimitsFindCourseRequest{
		Deck: "sites/varrow/decks/main", PresentCourseDeg: proto.Float64(0),
		NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(300), SpeedMps: proto.Float64(8)},
		Loads: []*bowrollv1.CourseLoad{
			{Id: "heavy", Case: heavy},
			{Id: "light", Limits: &bowrollv1.WindBounds{LeastHeadwindMps: proto.Float64(10)}},
		},
	})
	short := out.GetShortfall()
	if out.GetRecommended() != nil || len(out.GetOpen()) != 0 || len(short.GetNoWindFor()) != 1 || short.GetNoWindFor()[0] != "heavy" ||
		short.GetForTheOthers() == nil || !strings.Contains(out.GetText(), "heavy") {
		t.Errorf("got %v", out)
	}
}

// Calm, and more wind than the ship can outrun, are ordinary cases.
func TestCourseInCalmAndInAGale(t *testing.T) {
	ask := func(wind, least float64) *bowrollv1.WindLimitsFindCourseResponse {
		return findCourse(t, &bowrollv1.WindLimitsFindCourseRequest{
			Deck: "sites/varrow/decks/main", PresentCourseDeg: proto.Float64(45),
			NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(225), SpeedMps: &wind},
			Loads:       []*bowrollv1.CourseLoad{{Id: "a", Limits: &bowrollv1.WindBounds{LeastHeadwindMps: &least}}},
		})
	}
	if o := ask(0, 10).GetRecommended(); o == nil || math.Abs(o.GetChangeDeg()) > 0.5 || math.Abs(o.GetSpeedMps()-10) > 1e-6 {
		t.Errorf("calm: %v", o)
	}
	gale := ask(20, 21)
	if o := gale.GetRecommended(); o == nil || math.Abs(o.GetWind().GetCrosswindMps()) > 6.2+1e-6 {
		t.Errorf("gale: %s", gale.GetText())
	}
	if out := ask(3, 20); out.GetRecommended() != nil || out.GetShortfall().GetBest() == nil || out.GetShortfall().GetWorstMps() <= 0 {
		t.Errorf("too little wind: %s", out.GetText())
	}
}
