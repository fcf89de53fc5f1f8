package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// LimitS is how long after brake release a run is followed.
const LimitS = 400.0

// maxSteps ends a run that makes no progress; none is known that needs it.
const maxSteps = 20000

// NoLiftoff says why an aircraft does not lift off.
type NoLiftoff uint8

const (
	LiftsOff     NoLiftoff = iota // it does
	Stands                        // the forces do not move it, and nothing is left to burn
	TooSlow                       // it stops gaining speed below lift-off speed
	TimeExceeded                  // it is not off 400 s after release
)

// String names the reason in a few words.
func (n NoLiftoff) String() string {
	switch n {
	case LiftsOff:
		return "lifts off"
	case Stands:
		return "stands"
	case TooSlow:
		return "steady speed below lift-off speed"
	case TimeExceeded:
		return "not off after 400 s"
	}
	return "unknown"
}

// A State is where an aircraft is on the deck.
type State struct {
	TimeS          float64 // after brake release
	DistanceM      float64 // along the deck
	GroundSpeedMPS float64
}

// A Roll is the way from brake release to lift-off, or to where it ends without
// one. What is said of the end holds at lift-off in the first case.
type Roll struct {
	State
	LiftsOff           bool
	Reason             NoLiftoff // why not
	AirspeedMPS        float64
	LiftoffAirspeedMPS float64 // VLOF for the mass at the end
	MassKG             float64 // total, at the end
	// SteadyAirspeedMPS is where acceleration becomes zero, given only when
	// there is no lift-off; the headwind itself when the aircraft stands, and
	// [SteadyLimitMPS] when it would still gain speed there.
	SteadyAirspeedMPS float64
	// RunM and RunTimeS include the rotation: RunM = DistanceM + V t_rot. They
	// are given only with lift-off.
	RunM     float64
	RunTimeS float64
}

// Roll computes the roll with a schedule of thrust, from rest at time 0 and
// distance 0. It is the equation of motion
//
//	m dV/dt = T(Va) + Fx - D - mu N - W sin(theta),  ds/dt = V
//
// to the first Va >= VLOF. That there is no lift-off is a result, not an error.
func (r *Runner) Roll(s *booster.Schedule) Roll {
	return r.RollFrom(s, State{})
}

// RollFrom continues a roll from a state.
func (r *Runner) RollFrom(s *booster.Schedule, from State) Roll {
	var g roll
	g.atFullThrottle(r, s)
	g.liftsOff = true
	g.start(from.TimeS, from.GroundSpeedMPS, from.DistanceM)
	off, reason := g.untilLiftoff(s.LastThrustS())
	return r.report(s, &g, off, reason)
}

// RollTo follows a roll to a distance along the deck, past lift-off speed if
// need be, with the wheels on the deck. ok is false where the aircraft does not
// come so far.
func (r *Runner) RollTo(s *booster.Schedule, distanceM float64) (at State, ok bool) {
	var g roll
	g.atFullThrottle(r, s)
	g.distanceM = distanceM
	g.start(0, 0, 0)
	if distanceM <= 0 {
		return State{}, true
	}
	for range maxSteps {
		switch g.step() {
		case eventDistance:
			return g.state(), true
		case eventLimit:
			return g.state(), false
		}
		if g.t >= s.LastThrustS() && g.prepare() <= 0 && g.stands() {
			return g.state(), false
		}
	}
	return g.state(), false
}

// RollFor follows a roll to a time after brake release, past lift-off speed if
// need be and for at most [LimitS].
func (r *Runner) RollFor(s *booster.Schedule, timeS float64) State {
	var g roll
	timeS = min(timeS, LimitS)
	if !(timeS > 0) {
		return State{}
	}
	g.atFullThrottle(r, s)
	g.limitS = timeS
	g.start(0, 0, 0)
	for range maxSteps {
		if g.t >= timeS || g.step() == eventLimit {
			break
		}
	}
	return g.state()
}

// AirspeedMPS is the true airspeed that goes with a state.
func (r *Runner) AirspeedMPS(at State) float64 { return at.GroundSpeedMPS + r.headwind }

// atFullThrottle sets up a roll on the runner's engines.
func (g *roll) atFullThrottle(r *Runner, s *booster.Schedule) {
	g.r, g.segments, g.cells, g.mu = r, s.Segments(), r.cells, r.rollingMu
	g.limitS, g.distanceM = LimitS, math.Inf(1)
}

func (g *roll) state() State {
	return State{TimeS: g.t, DistanceM: g.s, GroundSpeedMPS: g.u - g.r.headwind}
}

// step goes on to the next event, standing or rolling.
func (g *roll) step() event {
	if accel := g.prepare(); accel <= 0 && !g.moving && g.stands() {
		return g.stand()
	}
	return g.advance()
}

// untilLiftoff rolls to lift-off or to where it is known that there is none.
func (g *roll) untilLiftoff(lastThrustS float64) (bool, NoLiftoff) {
	if mass := g.mass(); g.u > 0 && g.u*g.u >= g.r.liftoffSq*mass {
		return true, LiftsOff
	}
	for range maxSteps {
		accel := g.prepare()
		standing := accel <= 0 && !g.moving && g.stands()
		if accel <= 0 && !g.moving && g.t >= lastThrustS {
			if standing {
				return false, Stands
			}
			return false, TooSlow
		}
		var ev event
		if standing {
			ev = g.stand()
		} else {
			ev = g.advance()
		}
		switch ev {
		case eventLiftoff:
			return true, LiftsOff
		case eventLimit:
			return false, TimeExceeded
		}
	}
	return false, TimeExceeded
}

func (g *roll) mass() float64 {
	seg := &g.segments[g.segment]
	tau := g.t - seg.StartS
	return g.r.grossMass + seg.MassKG + float64(tau*(seg.MassKGPS+float64(tau*seg.MassKGPS2)))
}

// report fills in a result from the end of a roll.
func (r *Runner) report(s *booster.Schedule, g *roll, off bool, reason NoLiftoff) Roll {
	result := Roll{State: g.state(), LiftsOff: off, Reason: reason, AirspeedMPS: g.u, MassKG: g.mass()}
	result.LiftoffAirspeedMPS = r.LiftoffAirspeedMPS(result.MassKG)
	if off {
		result.RunM = result.DistanceM + float64(result.GroundSpeedMPS*r.rotationS)
		result.RunTimeS = result.TimeS + r.rotationS
		return result
	}
	result.SteadyAirspeedMPS = r.SteadyAirspeedMPS(s, result.State)
	if reason == TimeExceeded && result.SteadyAirspeedMPS < result.LiftoffAirspeedMPS && g.t >= s.LastThrustS() {
		result.Reason = TooSlow
	}
	return result
}
