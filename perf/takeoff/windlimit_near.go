package takeoff

import "math"

// The searches below look for the firing only near the last one found. They
// lead the full search to the right wind; they never decide.

// nearest firings are looked for to within these times, seconds.
const (
	nearTolerS = 1e-7
	nearReachS = 0.04 // of a first look to either side
)

// near is the best firing at a wind near a command time.
func (w *WindSearch) near(headwindMPS, delayS, tolerS float64) Choice {
	r, s := &w.runner, &w.schedule
	r.SetHeadwind(headwindMPS)
	units := r.setting.Units
	if len(units) == 0 {
		return r.choose(s, units, Firing{Mode: Unlit})
	}
	if !w.question.Replanned {
		return r.choose(s, units, w.question.Firing)
	}
	best := Choice{Firing: Firing{Mode: Rolling}}
	length := func(delay float64) float64 {
		s.Build(units, delay)
		roll := r.Roll(s)
		run := ByRun.Of(roll)
		if run < ByRun.Of(best.Roll) {
			best.Firing.DelayS, best.Roll = delay, roll
		}
		return run
	}
	leastNear(length, max(0, delayS), nearReachS, tolerS)
	if brakes := r.choose(s, units, Firing{Mode: OnBrakes, ReactionS: w.question.Firing.ReactionS}); brakes.HoldMarginN >= 0 &&
		ByRun.Of(brakes.Roll) < ByRun.Of(best.Roll) {
		return brakes
	}
	return best
}

// nearbyPoints is how many command times a first look takes.
const nearbyPoints = 20

// nearby is a coarse look over all command times at a wind, followed by a fine
// one near the best of them.
func (w *WindSearch) nearby(headwindMPS float64) Choice {
	r, s := &w.runner, &w.schedule
	r.SetHeadwind(headwindMPS)
	units := r.setting.Units
	if len(units) == 0 || !w.question.Replanned {
		return w.near(headwindMPS, 0, nearTolerS)
	}
	s.Carry(units)
	unlit := r.Roll(s)
	end := searchEnd(unlit)
	at, shortest := 0.0, math.Inf(1)
	for i := range nearbyPoints + 1 {
		part := float64(i) / nearbyPoints
		if !unlit.LiftsOff {
			part *= part
		}
		s.Build(units, part*end)
		if run := ByRun.Of(r.Roll(s)); run < shortest {
			at, shortest = part*end, run
		}
	}
	return w.near(headwindMPS, at, 1e-4)
}

// fromHint follows the firing of the last limit to the wind in which the run
// fits now, by secants of the run that the best firing leaves over. ok is false
// where there is nothing to follow or it leads nowhere.
func (w *WindSearch) fromHint() (headwindMPS float64, ok bool) {
	if !w.hint.known {
		return 0, false
	}
	x, delay, slope := w.hint.headwind, w.hint.delay, w.hint.slope
	rate := 0.0 // of the command time with the wind
	var lastX, lastSpare, lastDelay float64
	for i := range 12 {
		c := w.near(x, delay, nearTolerS)
		spare := w.spare(c)
		if math.IsInf(spare, 0) {
			return 0, false
		}
		if c.Firing.Mode == Rolling {
			delay = c.Firing.DelayS
		}
		if i > 0 && math.Abs(x-lastX) > 1e-7 {
			if s := (spare - lastSpare) / (x - lastX); s > 0 {
				slope = s
			} else if i > 2 {
				return 0, false
			}
			rate = (delay - lastDelay) / (x - lastX)
		}
		if math.Abs(spare) < 0.2*slope*WindStepMPS {
			break
		}
		next := x - spare/slope
		if i == 0 {
			// The slope is that of another load: do not go far on it.
			next = min(max(next, x-8), x+8)
		}
		if next < LeastHeadwindMPS || next > GreatestHeadwindMPS {
			return 0, false
		}
		lastX, lastSpare, lastDelay = x, spare, delay
		delay = max(0, delay+float64(rate*(next-x)))
		x = next
		if math.Abs(x-lastX) < 0.05*WindStepMPS {
			break
		}
	}
	w.hint = windHint{known: true, headwind: x, delay: delay, slope: slope}
	return x, true
}

// fromNothing brackets the wind in which the run fits and goes on as fromHint.
func (w *WindSearch) fromNothing(atLow, atHigh Choice) float64 {
	const rough = 0.05
	var last Choice
	x := lastFit(func(x float64) float64 {
		last = w.nearby(x)
		return w.spare(last)
	}, GreatestHeadwindMPS, LeastHeadwindMPS, w.spare(atHigh), w.spare(atLow), rough)
	at := w.nearby(x)
	w.hint = windHint{known: true, headwind: x, slope: 5}
	if at.Firing.Mode == Rolling {
		w.hint.delay = at.Firing.DelayS
	}
	if further := w.nearby(x + 0.2); !math.IsInf(w.spare(at), 0) {
		if slope := (w.spare(further) - w.spare(at)) / 0.2; slope > 0 {
			w.hint.slope = slope
		}
	}
	if y, ok := w.fromHint(); ok {
		return y
	}
	return x
}

// leastNear finds the least value of f near x >= 0, first looking reach to
// either side and going downhill from there: Brent's method, which halves by
// golden section where f has a kink and steps by parabolas where it is smooth.
func leastNear(f func(float64) float64, x, reach, tolerance float64) {
	fx := f(x)
	low, high := max(0, x-reach), x+reach
	fLow, fHigh := fx, f(high)
	if low < x {
		fLow = f(low)
	}
	for range 40 { // downhill
		switch {
		case fLow < fx && low > 0:
			reach *= 2
			high, fHigh, x, fx = x, fx, low, fLow
			low = max(0, x-reach)
			fLow = f(low)
			continue
		case fHigh < fx:
			reach *= 2
			low, fLow, x, fx = x, fx, high, fHigh
			high = x + reach
			fHigh = f(high)
			continue
		}
		break
	}
	if low == 0 && fLow <= fx {
		// The least may be at the very beginning.
		if f(tolerance) >= fLow {
			return
		}
	}
	const golden = 0.3819660112501051
	second, third, fSecond, fThird := x, x, fx, fx
	step, before := 0.0, 0.0
	if fLow < fHigh {
		second, fSecond, third, fThird = low, fLow, high, fHigh
	} else {
		second, fSecond, third, fThird = high, fHigh, low, fLow
	}
	step = high - low
	before = step
	for range 80 {
		middle := float64(0.5 * (low + high))
		if high-low <= 2*tolerance || math.Abs(x-middle) <= float64(2*tolerance)-float64(0.5*(high-low)) {
			return
		}
		parabola := false
		if math.Abs(before) > tolerance && !math.IsInf(fSecond, 1) && !math.IsInf(fThird, 1) {
			r := float64((x - second) * (fx - fThird))
			q := float64((x - third) * (fx - fSecond))
			p := float64((x-third)*q) - float64((x-second)*r)
			q = 2 * (q - r)
			if q > 0 {
				p = -p
			}
			q = math.Abs(q)
			if math.Abs(p) < math.Abs(0.5*q*before) && p > q*(low-x) && p < q*(high-x) {
				before, step = step, p/q
				if y := x + step; y-low < 2*tolerance || high-y < 2*tolerance {
					step = math.Copysign(tolerance, middle-x)
				}
				parabola = true
			}
		}
		if !parabola {
			if x < middle {
				before = high - x
			} else {
				before = low - x
			}
			step = golden * before
		}
		y := x + step
		if math.Abs(step) < tolerance {
			y = x + math.Copysign(tolerance, step)
		}
		fy := f(y)
		if fy <= fx {
			if y < x {
				high = x
			} else {
				low = x
			}
			third, fThird, second, fSecond, x, fx = second, fSecond, x, fx, y, fy
			continue
		}
		if y < x {
			low = y
		} else {
			high = y
		}
		switch {
		case fy <= fSecond || second == x:
			third, fThird, second, fSecond = second, fSecond, y, fy
		case fy <= fThird || third == x || third == second:
			third, fThird = y, fy
		}
	}
}
