package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// A Sample is one line of a time history.
type Sample struct {
	State
	AirspeedMPS      float64
	AccelerationMPS2 float64 // m/s2
	ThrustN          float64 // engines
	BoosterN         float64 // units, forward
	WheelLoadN       float64
	MassKG           float64 // total
}

// Trace appends to dst the history of a roll from time 0 to lift-off, or to
// where the roll ends without it: a sample every intervalS seconds and one at
// the end. It allocates only what dst lacks.
func (r *Runner) Trace(dst []Sample, s *booster.Schedule, intervalS float64) []Sample {
	end := r.Roll(s)
	var g roll
	g.atFullThrottle(r, s)
	g.start(0, 0, 0)
	for i := 0; ; i++ {
		at := float64(i) * intervalS
		if !(at < end.TimeS) {
			break
		}
		g.limitS = at
		for range maxSteps {
			if g.t >= at || g.step() == eventLimit {
				break
			}
		}
		dst = append(dst, r.sample(s, g.state()))
		if intervalS <= 0 {
			break
		}
	}
	return append(dst, r.sample(s, end.State))
}

// sample works out the forces at a state.
func (r *Runner) sample(s *booster.Schedule, at State) Sample {
	u := r.AirspeedMPS(at)
	mass := r.MassKG(s, at.TimeS)
	forward, upward := s.ForceN(at.TimeS)
	square := u * math.Abs(u)
	load := max(0, float64(mass*r.normalG)-float64(r.rollLiftK*max(square, 0))-upward)
	thrust := r.thrust.At(u)
	net := thrust + forward - float64(r.rollDragK*square) - float64(r.rollingMu*load) - float64(mass*r.slopeG)
	if at.GroundSpeedMPS <= 0 {
		net = max(net, 0)
	}
	return Sample{
		State: at, AirspeedMPS: u, AccelerationMPS2: net / mass,
		ThrustN: thrust, BoosterN: forward, WheelLoadN: load, MassKG: mass,
	}
}
