package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// A Leg is one failure and the two ways out of it.
type Leg struct {
	Failure Failure

	// Going on: the run with the failure times the failure factor against the
	// run available.
	Go          Roll
	GoRequiredM float64 // meaningful only if Go.LiftsOff
	GoFits      bool

	// Stopping: the failure is recognised after first thrust was due, then the
	// stop follows. StopExists is false where the aircraft is off before that.
	StopExists bool
	Recognised State
	Stop       Stop
	StopFits   bool

	Asymmetry Asymmetry
	Accepted  bool    // the policy accepts a leg that fits
	ReliedOn  LegRule // LegGo or LegStop when accepted, LegNeither when none is
	SpareM    float64 // run left over on the leg relied on; 0 where none is
	ShortM    float64 // run lacking on the nearer of the legs the policy accepts; 0 when accepted, +Inf where no length would do
}

// Legs are the answers to every failure of a fit.
type Legs struct {
	Legs     []Leg
	Covered  bool     // every single failure has an accepted leg
	ReliesOn LegRule  // LegGo, LegStop, LegEither where both are relied on, LegNeither where none is
	Limiting int      // index of the single failure with the least to spare, -1 without any
	Missing  []string // data of the unit type without which a failure could not be listed
}

// Legs answers what can go wrong with the units, fired as planned, under a
// policy and in a run available. The schedule is scratch memory.
func (r *Runner) Legs(s *booster.Schedule, units []booster.Unit, f Firing, p Policy, availableM float64) Legs {
	failures, missing := Failures(units)
	result := Legs{Covered: true, ReliesOn: LegNeither, Limiting: -1, Missing: missing}
	if f.Mode == Unlit {
		return result
	}
	f.Schedule(s, units)
	recognisedS := s.FirstThrustS() + p.RecognitionS
	if math.IsInf(recognisedS, 1) {
		// None of the units was meant to burn.
		return result
	}
	scratch := make([]booster.Unit, 0, len(units))
	least := math.Inf(1)
	for _, failure := range failures {
		failed := failure.Apply(scratch[:0], units)
		f.Schedule(s, failed)
		leg := r.leg(s, recognisedS, p, availableM)
		leg.Failure = failure
		if failure.Single() {
			result.Covered = result.Covered && leg.Accepted
			result.ReliesOn = together(result.ReliesOn, leg.ReliedOn)
			if spare := leg.spare(p, availableM); spare < least {
				least, result.Limiting = spare, len(result.Legs)
			}
		}
		result.Legs = append(result.Legs, leg)
	}
	return result
}

// leg answers one failure, whose schedule is s.
func (r *Runner) leg(s *booster.Schedule, recognisedS float64, p Policy, availableM float64) Leg {
	leg := Leg{Go: r.Roll(s), ReliedOn: LegNeither}
	leg.Asymmetry = r.Asymmetry(s)
	if leg.Go.LiftsOff {
		leg.GoRequiredM = leg.Go.RunM * p.FailureFactor
		leg.GoFits = leg.GoRequiredM <= availableM
	}
	switch {
	case recognisedS <= 0:
		// Recognised on the brakes: they are not let go.
		leg.StopExists = true
		leg.Stop.Stops = true
	case leg.Go.LiftsOff && recognisedS >= leg.Go.TimeS:
	default:
		leg.StopExists = true
		leg.Recognised = r.RollFor(s, recognisedS)
		leg.Stop = r.Stop(s, leg.Recognised, p.StopReactionS)
	}
	leg.StopFits = leg.StopExists && leg.Stop.Stops && leg.Stop.End.DistanceM <= availableM

	goes := leg.GoFits && (p.Legs == LegGo || p.Legs == LegEither)
	stops := leg.StopFits && (p.Legs == LegStop || p.Legs == LegEither)
	switch {
	case goes:
		leg.Accepted, leg.ReliedOn, leg.SpareM = true, LegGo, availableM-leg.GoRequiredM
	case stops:
		leg.Accepted, leg.ReliedOn, leg.SpareM = true, LegStop, availableM-leg.Stop.End.DistanceM
	case p.Legs == LegNeither:
		leg.Accepted = true
	default:
		leg.ShortM = max(0, -leg.spare(p, availableM))
	}
	return leg
}

// spare is the run left over on the better of the legs that the policy accepts,
// -Inf where there is none.
func (l *Leg) spare(p Policy, availableM float64) float64 {
	spare := math.Inf(-1)
	if p.Legs != LegStop && l.Go.LiftsOff {
		spare = max(spare, availableM-l.GoRequiredM)
	}
	if p.Legs != LegGo && l.StopExists && l.Stop.Stops {
		spare = max(spare, availableM-l.Stop.End.DistanceM)
	}
	return spare
}

// together joins what two failures rely on.
func together(a, b LegRule) LegRule {
	switch {
	case a == LegNeither || a == b:
		return b
	case b == LegNeither:
		return a
	}
	return LegEither
}
