package takeoff

import "bowroll/perf/booster"

// A Stop is a take-off given up and braked to standstill.
type Stop struct {
	Stops     bool  // false: the brakes do not hold it within 400 s, or are not known
	Braking   State // where the throttles closed and the brakes came on
	End       State // standstill, or where it was given up
	DistanceM float64
}

// Stop gives up a take-off at a state: full engine thrust and rolling friction
// for reactionS seconds more, then throttles closed and brakes on,
//
//	m dV/dt = Fx - D - mu_brake N - W sin(theta)
//
// down to standstill, with the drag of all fitted units. The schedule is the
// one that holds now: units lit or commanded burn to their end, also where they
// push an aircraft on that had come to rest. For a command not yet given pass a
// schedule made by Carry. DistanceM is measured from the state.
func (r *Runner) Stop(s *booster.Schedule, from State, reactionS float64) Stop {
	if r.setting.Surface.BrakesUnknown {
		return Stop{Braking: from, End: from}
	}
	var g roll
	g.atFullThrottle(r, s)
	g.limitS = from.TimeS + reactionS
	g.start(from.TimeS, from.GroundSpeedMPS, from.DistanceM)
	for range maxSteps {
		if g.t >= g.limitS || g.step() == eventLimit {
			break
		}
	}
	result := Stop{Braking: g.state()}
	g.cells, g.mu = r.closed, r.brakingMu
	g.limitS = g.t + LimitS
	g.moving = false
	g.start(g.t, g.u-r.headwind, g.s)
	result.Stops, result.End = g.brake(s.LastThrustS())
	result.DistanceM = result.End.DistanceM - from.DistanceM
	return result
}

// brake rolls on to a rest from which no unit moves the aircraft again. Units may
// light late, and brakes that have stopped it need not hold against them.
func (g *roll) brake(lastThrustS float64) (rests bool, end State) {
	for range maxSteps {
		var ev event
		if accel := g.prepare(); accel <= 0 && !g.moving && g.stands() {
			if !rests {
				rests, end = true, g.state()
			}
			if g.t >= lastThrustS {
				return true, end
			}
			ev = g.stand()
		} else {
			rests = false
			ev = g.advance()
		}
		if ev == eventLimit {
			break
		}
	}
	if rests {
		return true, end
	}
	return false, g.state()
}
