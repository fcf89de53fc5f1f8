package main

import (
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// request is a launch off the invented ship's deck with two units.
func request() *bowrollv1.TakeoffsComputeRequest {
	return &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{
		Id: "bench", AircraftType: "aircraftTypes/halbrook", Flap: "takeoff", GrossMassKg: proto.Float64(4800),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101000), TemperatureC: proto.Float64(28)},
		HeadwindMps: proto.Float64(9), Deck: "sites/varrow/decks/main", Spot: "s5",
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)},
		},
	}}
}

// plannerRequest is the same launch as a planner asks for it: the best firing is
// to be found, and every failure held against its legs.
func plannerRequest() *bowrollv1.TakeoffsComputeRequest {
	req := request()
	req.Case.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST}
	req.Sections = []bowrollv1.Section{bowrollv1.Section_SECTION_BEST_FIRING, bowrollv1.Section_SECTION_FAILURES}
	return req
}
