package wind_test

import (
	"fmt"

	"bowroll/perf/wind"
)

func ExampleShip_OverDeck() {
	ship := wind.Ship{CourseDeg: 90, SpeedMPS: 10}
	felt := ship.OverDeck(wind.Vector{FromDeg: 120, SpeedMPS: 8})
	fmt.Printf("%.1f m/s from %.0f degrees: %.1f ahead, %.1f from starboard\n",
		felt.SpeedMPS, felt.RelativeFromDeg, felt.HeadwindMPS, felt.CrosswindMPS)
	// Output: 17.4 m/s from 13 degrees: 16.9 ahead, 4.0 from starboard
}

func ExampleFindCourse() {
	least, across := 15.0, 3.0
	answer, err := wind.FindCourse(wind.CourseQuery{
		Wind:             wind.Steady(40, 8),
		Credit:           wind.FullCredit(),
		Ship:             wind.ShipRange{SteerageMPS: 2, GreatestMPS: 10},
		PresentCourseDeg: 90,
		Loads: []wind.Load{{
			Name:   "first sortie",
			Limits: wind.Limits{LeastHeadwindMPS: &least, GreatestCrosswindMPS: &across},
		}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	r := answer.Recommended
	fmt.Printf("steer %.1f at %.2f m/s, %.1f degrees to port\n", r.CourseDeg, r.SpeedMPS, -r.ChangeDeg)
	for _, m := range r.Margins {
		fmt.Printf("%s: %.2f of %.2f m/s\n", m.Limit, m.ValueMPS, m.AllowedMPS)
	}
	// Output:
	// steer 61.6 at 7.56 m/s, 28.4 degrees to port
	// headwind: 15.00 of 15.00 m/s
	// crosswind: 2.95 of 3.00 m/s
}
