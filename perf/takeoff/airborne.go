package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// AirDistance is the way from the end of rotation to the screen height.
type AirDistance struct {
	Reached       bool
	SinksBack     bool    // sank 5 m below where the wheels left the deck
	DistanceM     float64 // over the ground, or over the deck under way
	TimeS         float64 // since the end of rotation
	AirspeedMPS   float64 // at the end
	ClimbAngleRad float64 // at the end
	SinkM         float64 // greatest loss of height on the way
}

// AirDistance flies from the end of the rotation that follows a roll to a
// screen height in metres. A screen of 0 or less is a clear bow: the distance is
// 0. The roll must end in lift-off.
func (r *Runner) AirDistance(s *booster.Schedule, roll Roll, screenM float64) AirDistance {
	result := AirDistance{AirspeedMPS: roll.AirspeedMPS}
	if screenM <= 0 {
		result.Reached = true
		return result
	}
	f := flight{r: r, clLimit: 0.9 * r.wing.clMax, nzMax: nzScreen, screenM: screenM}
	y := flightState{flightV: roll.AirspeedMPS}
	start := roll.TimeS + r.rotationS
	end, ok := f.fly(s, start, start+LimitS, &y)
	result.SinksBack = ok && y[flightH] < 0
	result.Reached = ok && !result.SinksBack
	result.DistanceM, result.TimeS = y[flightX], end-start
	result.AirspeedMPS, result.ClimbAngleRad = y[flightV], y[flightGamma]
	result.SinkM = -min(f.lowestM, y[flightH])
	return result
}

// A Sink is what an aircraft loses in height that leaves the bow below lift-off
// speed.
type Sink struct {
	Recovers    bool    // the path turns upward before the water
	SinkM       float64 // greatest loss of height
	TimeS       float64 // from the edge to the lowest point
	DistanceM   float64 // over the ground, likewise
	AirspeedMPS float64 // at the lowest point
	SpeedRatio  float64 // airspeed at the edge over lift-off speed
}

// OffBow flies from the edge of a deck at a height in metres above the water,
// from the state in which the aircraft rolls off it, rotation done before: lift
// up to CLmax/1.05^2, to the lowest point.
func (r *Runner) OffBow(s *booster.Schedule, edge State, deckHeightM float64) Sink {
	airspeed := r.AirspeedMPS(edge)
	result := Sink{SpeedRatio: airspeed / r.LiftoffAirspeedMPS(r.MassKG(s, edge.TimeS))}
	if airspeed <= 0 {
		result.SinkM = deckHeightM
		return result
	}
	f := flight{r: r, clLimit: r.wing.clMax / (1.05 * 1.05), nzMax: math.Inf(1), offBow: true}
	y := flightState{flightV: airspeed, flightH: deckHeightM}
	var slope flightState
	f.segment = &s.Segments()[s.Index(edge.TimeS)]
	if f.rate(edge.TimeS, &y, &slope); slope[flightGamma] >= 0 {
		result.Recovers = true
		result.AirspeedMPS = airspeed
		return result
	}
	end, ok := f.fly(s, edge.TimeS, edge.TimeS+60, &y)
	// At the end one of the two is zero, but for rounding: the climb angle at the
	// lowest point, the height in the water.
	result.Recovers = ok && y[flightGamma] > -y[flightH]
	result.SinkM = deckHeightM - y[flightH]
	result.TimeS, result.DistanceM, result.AirspeedMPS = end-edge.TimeS, y[flightX], y[flightV]
	return result
}
