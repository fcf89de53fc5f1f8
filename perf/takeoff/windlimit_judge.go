package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// failureScratch is memory for the units of a failure.
type failureScratch []booster.Unit

// sinkCounts tells whether the policy lets an aircraft leave the edge too slow.
func (w *WindSearch) sinkCounts() bool {
	d := &w.question.Demand
	return d.PermittedSinkM > 0 && d.EdgeHeightM != nil
}

// judge is what a single take-off at the wind and with the firing of c would be
// found to be, wind limits aside: an outcome that holds the aircraft, else
// [GetsOff].
func (w *WindSearch) judge(c Choice) Outcome {
	o := w.judgeModel(c)
	if o == GetsOff && w.question.Also != nil {
		return w.question.Also(&w.runner, c.Firing)
	}
	return o
}

// judgeModel is judge by what the model itself can tell.
func (w *WindSearch) judgeModel(c Choice) Outcome {
	if w.sinkCounts() {
		return w.judgeAll(c)
	}
	r, s, d := &w.runner, &w.schedule, &w.question.Demand
	if !c.Roll.LiftsOff {
		return NeverGetsOff
	}
	units := r.setting.Units
	c.Firing.Schedule(s, units)
	if climb := r.Climb(s, c.Roll); climb.GradientUnlit <= 0 || climb.GradientUnlit < d.LeastGradient {
		return CannotClimb
	}
	if d.ScreenM > 0 && !r.AirDistance(s, c.Roll, d.ScreenM).Reached {
		return SinksBack
	}
	if !(w.spare(c) >= 0) {
		return RunTooLong
	}
	lit := len(units) > 0 && c.Firing.Mode != Unlit
	if lit && s.FirstThrustS() >= c.Roll.TimeS {
		return NeverFires
	}
	if lit && !(w.coverage(c) >= 0) {
		return NoLegCovers
	}
	if lit {
		c.Firing.Schedule(s, units)
		if uneven := r.Asymmetry(s); uneven.HasControl && !uneven.Controlled {
			return ControlSpeedNotReached
		}
	}
	return GetsOff
}

// judgeAll is judge by the whole assessment.
func (w *WindSearch) judgeAll(c Choice) Outcome {
	d := w.question.Demand
	d.CrosswindLimitMPS, d.TailwindLimitMPS, d.CeilingMPS = nil, nil, nil
	a := w.runner.Assess(&w.schedule, Plan{Firing: c.Firing, Failures: len(w.runner.setting.Units) > 0}, d)
	if o := a.Verdict.Outcome(); o.Holds() {
		return o
	}
	return GetsOff
}

// coverage is the least run that any single failure leaves over on the better of
// the legs that the policy accepts, -Inf where one has no leg at all. A failure
// known on the brakes leaves the whole run. It agrees in sign with
// [Runner.Covered].
func (w *WindSearch) coverage(c Choice) float64 {
	r, s, p := &w.runner, &w.schedule, w.question.Demand.Policy
	availableM := w.question.Demand.AvailableM
	units := r.setting.Units
	if c.Firing.Mode == Unlit || p.Legs == LegNeither || len(units) == 0 {
		return availableM
	}
	c.Firing.Schedule(s, units)
	recognisedS := s.FirstThrustS() + p.RecognitionS
	failures, _ := Failures(units)
	least := availableM
	for _, failure := range failures {
		if !failure.Single() {
			continue
		}
		w.failures = failure.Apply(w.failures[:0], units)
		c.Firing.Schedule(s, w.failures)
		least = min(least, r.legSpare(s, recognisedS, p, availableM))
	}
	return least
}

// legSpare is the run left over on the better of the accepted legs of the
// failure whose schedule is s.
func (r *Runner) legSpare(s *booster.Schedule, recognisedS float64, p Policy, availableM float64) float64 {
	if recognisedS <= 0 && p.Legs != LegGo {
		return availableM // the brakes are not let go
	}
	spare := math.Inf(-1)
	goes := r.Roll(s)
	if p.Legs != LegStop && goes.LiftsOff {
		spare = availableM - float64(goes.RunM*p.FailureFactor)
	}
	if p.Legs == LegGo || goes.LiftsOff && recognisedS >= goes.TimeS {
		return spare
	}
	if stop := r.Stop(s, r.RollFor(s, recognisedS), p.StopReactionS); stop.Stops {
		spare = max(spare, availableM-stop.End.DistanceM)
	}
	return spare
}

// margin is a number that grows through zero where a take-off begins to be let
// go: the run that failures leave over where that is all that holds it.
func (w *WindSearch) margin(c Choice) float64 {
	switch w.judge(c) {
	case GetsOff:
		return max(0, w.coverage(c))
	case NoLegCovers:
		return w.coverage(c)
	}
	return math.Inf(-1)
}

// The winds above the least are looked through for one that does not do, this
// far apart, m/s. The firing is followed from one to the next.
const (
	lookStepMPS = 2.5
	lookTolerS  = 1e-4
)

// window goes on from the wind in which the run fits to the first in which
// nothing else holds the aircraft either, and from there to the first in which
// something does again.
func (w *WindSearch) window(run WindLimit) WindLimit {
	found, c, x := run, run.At, run.HeadwindMPS
	if first := w.judge(c); first != GetsOff {
		never := WindLimit{Outcome: NeverFits, HeadwindMPS: GreatestHeadwindMPS, Binds: first}
		if first == CannotClimb && w.judge(w.look(GreatestHeadwindMPS, c)) == CannotClimb {
			never.At = w.planned(GreatestHeadwindMPS)
			return never
		}
		low, binds := x, first
		for o := first; o != GetsOff; {
			if x >= GreatestHeadwindMPS {
				never.At = w.planned(GreatestHeadwindMPS)
				return never
			}
			low, binds = x, o
			x = min(x+lookStepMPS, GreatestHeadwindMPS)
			c = w.look(x, c)
			o = w.judge(c)
		}
		if found = w.between(low, x, c, binds); found.Outcome == NeverFits {
			return found
		}
	}
	return w.upTo(found)
}

// upTo finds where the winds that do, from the least found on, end again.
func (w *WindSearch) upTo(found WindLimit) WindLimit {
	found.MostMPS, found.MostBinds = math.Inf(1), GetsOff
	for x, c := found.HeadwindMPS, found.At; x < w.question.top(); {
		next := min(x+lookStepMPS, w.question.top())
		c = w.look(next, c)
		if w.judge(c) != GetsOff {
			if found.MostMPS, found.MostBinds = w.end(x, next); found.MostBinds != GetsOff {
				break
			}
			// The firing followed was not the best any more: go on from that.
			c = w.planned(next)
		}
		x = next
	}
	return found
}

// look is the firing at a wind, followed from that at another one.
func (w *WindSearch) look(headwindMPS float64, from Choice) Choice {
	if w.question.Choose != nil {
		return w.planned(headwindMPS)
	}
	return w.near(headwindMPS, from.Firing.DelayS, lookTolerS)
}

// end finds the greatest step of wind that does, between low that does and high
// that does not; +Inf where the full search finds that high does.
func (w *WindSearch) end(low, high float64) (mostMPS float64, binds Outcome) {
	binds = w.judge(w.planned(high))
	if binds == GetsOff {
		return math.Inf(1), GetsOff
	}
	does, fails := int(math.Round(low/WindStepMPS)), int(math.Ceil(high/WindStepMPS))
	for fails-does > 1 {
		middle := does + (fails-does)/2
		if o := w.judge(w.planned(float64(middle) * WindStepMPS)); o == GetsOff {
			does = middle
		} else {
			fails, binds = middle, o
		}
	}
	return float64(does) * WindStepMPS, binds
}

// between finds the least step of wind that does, where low does not and high,
// fired as given, does.
func (w *WindSearch) between(low, high float64, fired Choice, binds Outcome) WindLimit {
	delay := fired.Firing.DelayS
	margin := func(x float64) float64 {
		c := w.near(x, delay, nearTolerS)
		if c.Firing.Mode == Rolling {
			delay = c.Firing.DelayS
		}
		return w.margin(c)
	}
	atHigh := margin(high)
	return w.settleAll(lastFit(margin, high, low, atHigh, margin(low), 0.1*WindStepMPS), binds)
}

// settleAll walks from an estimate to the least step of wind that does, by the
// full search for the firing.
func (w *WindSearch) settleAll(x float64, binds Outcome) WindLimit {
	const least, greatest = int(LeastHeadwindMPS / WindStepMPS), int(GreatestHeadwindMPS / WindStepMPS)
	fails, does := least-1, greatest+1
	var at Choice
	// Away from the estimate by ever longer strides, until both sides are known.
	for step, stride := int(math.Ceil(x/WindStepMPS)), 1; does-fails > 1; stride *= 2 {
		step = min(max(step, fails+1), does-1)
		c := w.planned(float64(step) * WindStepMPS)
		if o := w.judge(c); o == GetsOff {
			does, at = step, c
		} else {
			fails, binds = step, o
		}
		switch {
		case fails < least:
			step = does - stride
		case does > greatest:
			step = fails + stride
		default:
			step = fails + (does-fails)/2
		}
	}
	if does > greatest {
		at = w.planned(GreatestHeadwindMPS)
		return WindLimit{Outcome: NeverFits, HeadwindMPS: GreatestHeadwindMPS, At: at, Binds: binds}
	}
	if does <= least {
		return WindLimit{Outcome: AlwaysFits, HeadwindMPS: LeastHeadwindMPS, At: at, Binds: GetsOff}
	}
	return WindLimit{Outcome: LimitFound, HeadwindMPS: float64(does) * WindStepMPS, At: at, Binds: binds}
}

// byHalves finds the limit from a wind upwards by nothing but yes and no at each
// wind, where a sink off the edge counts or the firing is chosen from outside.
func (w *WindSearch) byHalves(from float64) WindLimit {
	x := from
	at := w.planned(x)
	first := w.judge(at)
	if first == GetsOff && from <= LeastHeadwindMPS {
		return w.upTo(WindLimit{Outcome: AlwaysFits, HeadwindMPS: x, At: at, Binds: GetsOff})
	}
	if first == GetsOff {
		return w.upTo(w.settleAll(x, RunTooLong))
	}
	low, binds := x, first
	for o := first; o != GetsOff; {
		if x >= GreatestHeadwindMPS {
			return WindLimit{Outcome: NeverFits, HeadwindMPS: x, At: at, Binds: first}
		}
		low, binds = x, o
		x = min(x+lookStepMPS, GreatestHeadwindMPS)
		at = w.planned(x)
		o = w.judge(at)
	}
	for x-low > 0.1*WindStepMPS {
		middle := low + float64(0.5*(x-low))
		if o := w.judge(w.planned(middle)); o == GetsOff {
			x = middle
		} else {
			low, binds = middle, o
		}
	}
	return w.upTo(w.settleAll(x, binds))
}
