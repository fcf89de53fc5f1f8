package main

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A call is one that takes far longer than it is given.
type call struct {
	method          string
	request, answer proto.Message
}

const deck = "sites/varrow/decks/main"

// oneCase is a case with boosters, to be completed by an id and a mass.
const oneCase = `{"id":"%s","aircraft_type":"aircraftTypes/halbrook","flap":"takeoff","gross_mass_kg":%d,
"air":{"pressure_pa":101000,"temperature_c":0},"headwind_mps":0,"deck":"` + deck + `","spot":"s5",
"boosters":{"count":2,"booster_type":"boosterTypes/emberlin-6","grain_temperature_c":20,"firing":{"mode":"FIRING_MODE_ROLLING","delay_s":0}}}`

// calls are the calls that compute most.
func calls() ([]call, error) {
	asked, _, err := cycle.Read("deadline.yaml", []byte(longCycle(40)))
	if err != nil {
		return nil, err
	}
	var cases []*bowrollv1.TakeoffCase
	for i := range 200 {
		c := &bowrollv1.TakeoffCase{}
		if err := protojson.Unmarshal(fmt.Appendf(nil, oneCase, fmt.Sprintf("c-%d", i), 4600+i), c); err != nil {
			return nil, err
		}
		cases = append(cases, c)
	}
	sections := []bowrollv1.Section{bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_BEST_FIRING, bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_WORTH}
	// The loads of a cycle have their wind limits computed.
	course := &bowrollv1.WindLimitsFindCourseRequest{Cycle: asked, PresentCourseDeg: proto.Float64(90)}
	var variants []*bowrollv1.CycleVariant
	for i := range 20 {
		variants = append(variants, &bowrollv1.CycleVariant{Id: fmt.Sprintf("wind-%d", i),
			NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(292), SpeedMps: proto.Float64(float64(i) / 2)}})
	}
	firing := &bowrollv1.TakeoffsFindFiringRequest{Case: cases[0], PointCount: proto.Int32(200), SampleCount: proto.Int32(4000)}
	return []call{
		{bowrollv1.Takeoffs_BatchCompute_FullMethodName, &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases, Sections: sections}, &bowrollv1.TakeoffsBatchComputeResponse{}},
		{bowrollv1.Takeoffs_Tabulate_FullMethodName, &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases, Sections: sections}, &bowrollv1.TakeoffsTabulateResponse{}},
		{bowrollv1.Takeoffs_FindFiring_FullMethodName, firing, &bowrollv1.TakeoffsFindFiringResponse{}},
		{bowrollv1.WindLimits_FindCourse_FullMethodName, course, &bowrollv1.WindLimitsFindCourseResponse{}},
		{bowrollv1.Cycles_Plan_FullMethodName, &bowrollv1.CyclesPlanRequest{Cycle: asked}, &bowrollv1.CyclePlan{}},
		{bowrollv1.Cycles_Tabulate_FullMethodName, &bowrollv1.CyclesPlanRequest{Cycle: asked}, &bowrollv1.CyclesTabulateResponse{}},
		{bowrollv1.Cycles_Compare_FullMethodName, &bowrollv1.CyclesCompareRequest{Cycle: asked, Variants: variants}, &bowrollv1.CyclesCompareResponse{}},
	}, nil
}

// longCycle is a cycle with so many sorties, as its planner would write it.
func longCycle(sorties int) string {
	var b strings.Builder
	b.WriteString(`id: deadline
deck: sites/varrow/decks/main
start_time: 2041-03-07T05:30:00Z
air: {pressure: 29.83 inHg, temperature: 88 degF}
natural_wind: {from: 292 deg, speed: 10 kt}
greatest_speed: 20 kt
crews: {team_count: 4, fit_time: 4 min, hold_least: 5 min, hold_greatest: 50 min}
sorties:
`)
	for i := range sorties {
		fmt.Fprintf(&b, "  - {id: corvane-%d, launch: %d s, priority: %d, aircraft_type: corvane, flap: takeoff, gross_mass: %d lb, spot: s4}\n",
			i+1, 600+i*75, 1+i%50, 11200+37*i)
	}
	b.WriteString("lots:\n")
	for i := range 6 {
		fmt.Fprintf(&b, "  - {id: lot-%d, booster_type: emberlin-6, usable_count: 12, grain_temperature: %d degF, expire_time: 2041-06-28T23:59:59Z}\n", i+1, 60+3*i)
	}
	return b.String()
}
