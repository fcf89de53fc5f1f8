package takeoff

import "bowroll/perf/booster"

// A CommitPoint is the last moment from which a stop still fits the run
// available.
type CommitPoint struct {
	Exists      bool  // false: not even a stop at brake release fits
	ToLiftoff   bool  // a stop fits from everywhere up to lift-off
	At          State // when the stop reaction begins
	AirspeedMPS float64
	Stop        Stop
}

// commitTolerS is how closely the moment is found.
const commitTolerS = 1e-6

// Commit finds the commit point of a schedule: the last time at which the stop
// reaction may begin. Before commandS, the time of the firing command, the
// units are not lit and a stop carries them silent; after it they burn to their
// end. For units that never light pass the schedule of a [Firing] in the mode
// Unlit; its command time is never.
//
// A later stop never ends nearer: up to the moment it begins the aircraft is
// driven on where the earlier one is braked.
func (r *Runner) Commit(s *booster.Schedule, commandS float64, units []booster.Unit, p Policy, availableM float64) CommitPoint {
	var silent booster.Schedule
	silent.Carry(units)
	roll := r.Roll(s)
	stopAt := func(t float64) (State, Stop) {
		state := r.RollFor(s, t)
		if t < commandS {
			return state, r.Stop(&silent, state, p.StopReactionS)
		}
		return state, r.Stop(s, state, p.StopReactionS)
	}
	margin := func(t float64) float64 {
		_, stop := stopAt(t)
		if !stop.Stops {
			return availableM - max(stop.End.DistanceM, 2*availableM)
		}
		return availableM - stop.End.DistanceM
	}
	point := func(t float64) CommitPoint {
		state, stop := stopAt(t)
		return CommitPoint{Exists: true, At: state, AirspeedMPS: r.AirspeedMPS(state), Stop: stop}
	}
	first, last := margin(0), margin(roll.TimeS)
	switch {
	case first < 0:
		return CommitPoint{}
	case last >= 0:
		c := point(roll.TimeS)
		c.ToLiftoff = true
		return c
	}
	return point(lastFit(margin, 0, roll.TimeS, first, last, commitTolerS))
}
