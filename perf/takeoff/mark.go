package takeoff

import "bowroll/perf/booster"

// A MarkCheck is what a take-off should show at a mark on the deck, and what is
// too little.
type MarkCheck struct {
	DistanceM   float64
	Reached     bool // on the wheels: the mark lies before lift-off
	Expected    State
	AirspeedMPS float64 // expected at the mark

	// The bound is drawn by the take-off that loses just so much engine thrust,
	// from brake release on, that its run fits the run available by nothing.
	// HasBound is false where it does not fit even without loss.
	HasBound         bool
	ThrustLoss       float64 // part of the engine thrust
	Bound            State
	LeastAirspeedMPS float64 // at the mark; below it, stop
	// ByTime: the airspeed tells nothing, because units commanded by the clock
	// have lit before the slower take-off comes to the mark. Passing the mark later
	// than the bound is then the reason to stop.
	ByTime   bool
	Stop     Stop // from the bound
	StopFits bool // that stop still fits the run available
}

// The greatest loss of thrust reckoned with, and how closely it is found.
const (
	greatestLoss = 0.95
	lossToler    = 1e-6
)

// CheckMark works out the acceleration check at a mark, for a schedule commanded
// at commandS (+Inf for units that are not fired). Units are those fitted: a
// stop from before their command carries them silent.
func (r *Runner) CheckMark(s *booster.Schedule, commandS float64, units []booster.Unit, p Policy, availableM, markM float64) MarkCheck {
	check := MarkCheck{DistanceM: markM}
	roll := r.Roll(s)
	var ok bool
	check.Expected, ok = r.RollTo(s, markM)
	check.Reached = ok && !(roll.LiftsOff && roll.DistanceM < markM)
	check.AirspeedMPS = r.AirspeedMPS(check.Expected)
	if !check.Reached {
		return check
	}
	var varied Runner
	spare := func(loss float64) float64 {
		r.Vary(&varied, Variation{EngineThrust: -loss})
		return availableM - ByRun.Of(varied.Roll(s))
	}
	none := spare(0)
	if none < 0 {
		return check
	}
	check.ThrustLoss = greatestLoss
	if most := spare(greatestLoss); most < 0 {
		check.ThrustLoss = lastFit(spare, 0, greatestLoss, none, most, lossToler)
	}
	spare(check.ThrustLoss)
	if check.Bound, ok = varied.RollTo(s, markM); !ok {
		return check
	}
	check.HasBound = true
	check.LeastAirspeedMPS = varied.AirspeedMPS(check.Bound)
	check.ByTime = check.LeastAirspeedMPS >= check.AirspeedMPS && check.ThrustLoss > 0
	if check.Bound.TimeS < commandS {
		var silent booster.Schedule
		silent.Carry(units)
		check.Stop = varied.Stop(&silent, check.Bound, p.StopReactionS)
	} else {
		check.Stop = varied.Stop(s, check.Bound, p.StopReactionS)
	}
	check.StopFits = check.Stop.Stops && check.Stop.End.DistanceM <= availableM
	return check
}
