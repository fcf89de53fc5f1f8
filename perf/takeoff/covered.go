package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// Covered tells whether every single failure has a leg that the policy accepts:
// what [Runner.Legs] finds, worked out no further than the answer needs. The
// schedule is scratch memory.
func (r *Runner) Covered(s *booster.Schedule, units []booster.Unit, f Firing, p Policy, availableM float64) bool {
	if f.Mode == Unlit || p.Legs == LegNeither || len(units) == 0 {
		return true
	}
	failures, _ := Failures(units)
	f.Schedule(s, units)
	recognisedS := s.FirstThrustS() + p.RecognitionS
	if math.IsInf(recognisedS, 1) {
		return true // none of the units was meant to burn
	}
	scratch := make([]booster.Unit, 0, len(units))
	for _, failure := range failures {
		if !failure.Single() {
			continue
		}
		f.Schedule(s, failure.Apply(scratch[:0], units))
		if !r.coveredBy(s, recognisedS, p, availableM) {
			return false
		}
	}
	return true
}

// coveredBy tells whether a leg that the policy accepts fits with the failure
// whose schedule is s.
func (r *Runner) coveredBy(s *booster.Schedule, recognisedS float64, p Policy, availableM float64) bool {
	if recognisedS <= 0 && p.Legs != LegGo {
		return true // the brakes are not let go
	}
	goes := r.Roll(s)
	if p.Legs != LegStop && goes.LiftsOff && goes.RunM*p.FailureFactor <= availableM {
		return true
	}
	if p.Legs == LegGo || goes.LiftsOff && recognisedS >= goes.TimeS {
		return false
	}
	stop := r.Stop(s, r.RollFor(s, recognisedS), p.StopReactionS)
	return stop.Stops && stop.End.DistanceM <= availableM
}
