package takeoff

import "math"

// condition is a function of time within a step whose zero is an event.
type condition uint8

const (
	airspeedReaches condition = iota // airspeed gain minus a level
	liftoffReached                   // airspeed minus lift-off speed
	loadVanishes                     // wheel load
	loadTurns                        // rate of the wheel load
	distanceReached                  // distance minus a mark
	speedTurns                       // acceleration
)

// value is a condition's function at tau and its derivative.
func (g *roll) value(c condition, level, tau float64) (f, rate float64) {
	rise, accel := g.gain(tau)
	switch c {
	case airspeedReaches:
		return rise - level, accel
	case liftoffReached:
		mass := g.m0 + float64(tau*(g.m1+float64(tau*g.m2)))
		flow := g.m1 + float64(2*tau*g.m2)
		speed := math.Sqrt(float64(g.r.liftoffSq * mass))
		return g.u + rise - speed, accel - float64(float64(g.r.liftoffSq*flow)/(2*speed))
	case loadVanishes:
		return g.load(tau, rise, accel)
	case loadTurns:
		_, f = g.load(tau, rise, accel)
		return f, 0
	case distanceReached:
		return g.travel(tau) - level, g.u + rise - g.r.headwind
	}
	return accel, 0
}

// load is the wheel load before it is clipped at zero, and its rate.
func (g *roll) load(tau, rise, accel float64) (load, rate float64) {
	mass := g.m0 + float64(tau*(g.m1+float64(tau*g.m2)))
	flow := g.m1 + float64(2*tau*g.m2)
	u := g.u + rise
	load = float64(mass*g.r.normalG) - float64(g.liftK*float64(u*u)) - g.lift0 - float64(tau*g.lift1)
	rate = float64(flow*g.r.normalG) - float64(2*g.liftK*float64(u*accel)) - g.lift1
	return load, rate
}

// root finds where a condition is zero between low and high, where it changes
// sign: Newton's method kept inside the bracket, bisection where that fails.
func (g *roll) root(c condition, level, low, high float64) float64 {
	atHigh, slope := g.value(c, level, high)
	rising := atHigh > 0
	x, f := high, atHigh
	width := high - low
	for range 200 {
		if f == 0 {
			return x
		}
		if (f > 0) == rising {
			high = x
		} else {
			low = x
		}
		next := x - f/slope
		if !(next > low && next < high) {
			// Newton may fall on the end just left by rounding: that is the root.
			if math.Abs(f) <= 4e-16*math.Abs(slope)*(math.Abs(x)+math.Abs(g.t)*1e-3) {
				return x
			}
			next = low + 0.5*(high-low)
		}
		if math.Abs(next-x) <= 1e-15*width || next == low || next == high {
			return next
		}
		x = next
		f, slope = g.value(c, level, x)
	}
	return x
}

// advance takes the prepared step, as far as the first event in it.
func (g *roll) advance() event {
	h := g.expand()
	ev := eventNone
	if g.t+h >= g.reachS {
		h = g.reachS - g.t
		ev = eventCorner
		if g.reachS >= g.limitS {
			ev = eventLimit
		}
	}
	h, ev = g.firstEvent(h, ev)
	g.finish(h, ev)
	return ev
}

// firstEvent looks for events inside a step of h and returns the first.
func (g *roll) firstEvent(h float64, ev event) (float64, event) {
	rise, rate := g.gain(h)
	// The airspeed is monotone on [0, turn] and on [turn, h].
	turn := h
	if !g.moving && ((g.d[1] > 0 && rate < 0) || (g.d[1] < 0 && rate > 0)) {
		turn = g.root(speedTurns, 0, 0, h)
	}
	low, high := 0.0, turn
	for {
		if high < h {
			rise, _ = g.gain(high)
		}
		h0, ev0, found := g.crossing(low, high, rise)
		if found {
			h, ev = h0, ev0
			break
		}
		if high == h {
			break
		}
		low, high = high, h
		rise, _ = g.gain(h)
	}
	h, ev = g.loadEvent(h, ev)
	if !math.IsInf(g.distanceM, 1) && g.s+g.travel(h) > g.distanceM {
		h, ev = g.root(distanceReached, g.distanceM-g.s, 0, h), eventDistance
	}
	return h, ev
}

// crossing looks for a cell edge, a standstill or lift-off on a stretch where
// the airspeed is monotone and ends rise above its value at the step's start.
func (g *roll) crossing(low, high, rise float64) (h float64, ev event, found bool) {
	h = high
	c := &g.cells[g.cell]
	floor := max(c.low, g.r.headwind)
	switch u := g.u + rise; {
	case u > c.high:
		h, ev, found = g.root(airspeedReaches, c.high-g.u, low, h), eventEdge, true
	case u < floor && !g.moving:
		ev, found = eventEdge, true
		if floor == g.r.headwind {
			ev = eventHalt
		}
		h = g.root(airspeedReaches, floor-g.u, low, h)
	}
	if g.liftsOff {
		if f, slope := g.value(liftoffReached, 0, h); f >= 0 {
			return g.root(liftoffReached, 0, low, h), eventLiftoff, true
		} else if _, before := g.value(liftoffReached, 0, low); slope < 0 && before > 0 {
			// Lift-off speed may be reached and lost again inside the stretch.
			if peak := g.peak(low, h); peak > low {
				return g.root(liftoffReached, 0, low, peak), eventLiftoff, true
			}
		}
	}
	return h, ev, found
}

// peak returns where airspeed minus lift-off speed is greatest in a stretch, if
// it is positive there, else low.
func (g *roll) peak(low, high float64) float64 {
	start := low
	for range 60 {
		mid := low + 0.5*(high-low)
		if _, slope := g.value(liftoffReached, 0, mid); slope > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	if f, _ := g.value(liftoffReached, 0, low); f > 0 {
		return low
	}
	return start
}

// loadEvent looks for the wheel load passing through zero.
func (g *roll) loadEvent(h float64, ev event) (float64, event) {
	if g.mu == 0 {
		return h, ev
	}
	rise, accel := g.gain(h)
	end, endRate := g.load(h, rise, accel)
	start, startRate := g.load(0, 0, g.d[1])
	side := 1.0
	if g.light {
		side = -1
	}
	if side*end < 0 {
		if side*start <= 0 && side*startRate <= 0 {
			// Already on the far side by rounding: change at once.
			return 0, eventNormal
		}
		return g.root(loadVanishes, 0, 0, h), eventNormal
	}
	// A dip to the other side and back: only where the tangents allow it.
	if side*startRate < 0 && side*endRate > 0 && side*start > 0 &&
		min(side*(start+startRate*h), side*(end-endRate*h)) < 0 {
		turn := g.root(loadTurns, 0, 0, h)
		if rise, accel := g.gain(turn); side > 0 {
			if load, _ := g.load(turn, rise, accel); load < 0 {
				return g.root(loadVanishes, 0, 0, turn), eventNormal
			}
		} else if load, _ := g.load(turn, rise, accel); load > 0 {
			return g.root(loadVanishes, 0, 0, turn), eventNormal
		}
	}
	return h, ev
}

// finish moves the state to the end of the step and into the next cell, segment
// or side of zero load.
func (g *roll) finish(h float64, ev event) {
	rise, _ := g.gain(h)
	g.s += g.travel(h)
	u := g.u + rise
	g.moving = false
	switch ev {
	case eventEdge:
		c := &g.cells[g.cell]
		if c.high-u < u-c.low {
			u = c.high
			g.cell++
		} else {
			u = c.low
			g.cell--
		}
	case eventHalt:
		u = g.r.headwind
	case eventNormal:
		g.light = !g.light
	case eventDistance:
		g.s = g.distanceM
	}
	g.u = max(u, g.r.headwind)
	if ev == eventCorner || ev == eventLimit {
		g.t = g.reachS
	} else {
		g.t += h
	}
	if ev == eventCorner {
		for g.segment+1 < len(g.segments) && g.segments[g.segment+1].StartS <= g.t {
			g.segment++
		}
		g.setLight()
	}
}
