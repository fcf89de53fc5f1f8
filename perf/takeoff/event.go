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
	f, slope := g.value(c, level, high)
	return g.rootFrom(c, level, low, high, f, slope)
}

// rootFrom is root where the value and slope at high are known.
func (g *roll) rootFrom(c condition, level, low, high, f, slope float64) float64 {
	rising := f > 0
	x := high
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
		newton := next > low && next < high
		if !newton {
			// Newton may fall on the end just left by rounding: that is the root.
			if math.Abs(f) <= 4e-16*math.Abs(slope)*(math.Abs(x)+float64(math.Abs(g.t)*1e-3)) {
				return x
			}
			next = low + float64(0.5*(high-low))
		}
		// Newton's steps square the error: the next would be below rounding.
		if newton && math.Abs(next-x) <= 1e-8*width || next == low || next == high {
			return next
		}
		x = next
		f, slope = g.value(c, level, x)
	}
	return x
}

// advance takes the prepared step, as far as the first event in it.
func (g *roll) advance() event {
	e := end{h: g.expand()}
	if g.t+e.h >= g.reachS {
		e.h = g.reachS - g.t
		e.event = eventCorner
		if g.reachS >= g.limitS {
			e.event = eventLimit
		}
	}
	g.firstEvent(&e)
	g.finish(&e)
	return e.event
}

// end is the end of a step: its length, what ends it, and how much the airspeed
// rises in it.
type end struct {
	h          float64
	event      event
	rise, rate float64
}

// moveTo shortens the step to an event inside it.
func (e *end) moveTo(g *roll, h float64, ev event) {
	e.h, e.event = h, ev
	e.rise, e.rate = g.gain(h)
}

// firstEvent shortens a step to the first event inside it.
func (g *roll) firstEvent(e *end) {
	e.rise, e.rate = g.gain(e.h)
	if !g.moving && ((g.d[1] > 0 && e.rate < 0) || (g.d[1] < 0 && e.rate > 0)) {
		// The airspeed is monotone on [0, turn] and on [turn, h].
		turn := g.root(speedTurns, 0, 0, e.h)
		first := end{h: turn, event: eventNone}
		first.rise, first.rate = g.gain(turn)
		if g.crossing(0, &first) {
			*e = first
		} else {
			g.crossing(turn, e)
		}
	} else {
		g.crossing(0, e)
	}
	g.loadEvent(e)
	if g.distanceM < math.MaxFloat64 && g.s+g.travel(e.h) > g.distanceM {
		e.moveTo(g, g.root(distanceReached, g.distanceM-g.s, 0, e.h), eventDistance)
	}
}

// crossing looks for a cell edge, a standstill or lift-off on the stretch from
// low to e, on which the airspeed is monotone.
func (g *roll) crossing(low float64, e *end) (found bool) {
	c := &g.cells[g.cell]
	floor := max(c.low, g.r.headwind)
	switch u := g.u + e.rise; {
	case u > c.high:
		level := c.high - g.u
		e.moveTo(g, g.rootFrom(airspeedReaches, level, low, e.h, e.rise-level, e.rate), eventEdge)
		found = true
	case u < floor && !g.moving:
		ev := eventEdge
		if floor == g.r.headwind {
			ev = eventHalt
		}
		level := floor - g.u
		e.moveTo(g, g.rootFrom(airspeedReaches, level, low, e.h, e.rise-level, e.rate), ev)
		found = true
	}
	if g.liftsOff && g.lifts(low, e) {
		found = true
	}
	return found
}

// lifts looks for lift-off on a monotone stretch.
func (g *roll) lifts(low float64, e *end) bool {
	u := g.u + e.rise
	mass := g.m0 + float64(e.h*(g.m1+float64(e.h*g.m2)))
	if u > 0 && float64(u*u) >= float64(g.r.liftoffSq*mass) {
		e.moveTo(g, g.root(liftoffReached, 0, low, e.h), eventLiftoff)
		return true
	}
	if e.rate >= 0 {
		return false
	}
	// Mass only falls, so lift-off speed can be reached and lost again inside the
	// stretch only while the airspeed falls.
	_, after := g.value(liftoffReached, 0, e.h)
	if _, before := g.value(liftoffReached, 0, low); after < 0 && before > 0 {
		if peak := g.peak(low, e.h); peak > low {
			e.moveTo(g, g.root(liftoffReached, 0, low, peak), eventLiftoff)
			return true
		}
	}
	return false
}

// peak returns where airspeed minus lift-off speed is greatest in a stretch, if
// it is positive there, else low.
func (g *roll) peak(low, high float64) float64 {
	start := low
	for range 60 {
		mid := low + float64(0.5*(high-low))
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
func (g *roll) loadEvent(e *end) {
	if g.mu == 0 {
		return
	}
	last, lastRate := g.load(e.h, e.rise, e.rate)
	start, startRate := g.load(0, 0, g.d[1])
	if g.light {
		last, lastRate, start, startRate = -last, -lastRate, -start, -startRate
	}
	switch {
	case last < 0 && start <= 0 && startRate <= 0:
		// Already on the far side by rounding: change at once.
		e.moveTo(g, 0, eventNormal)
	case last < 0:
		e.moveTo(g, g.root(loadVanishes, 0, 0, e.h), eventNormal)
	case startRate < 0 && lastRate > 0 && start > 0 &&
		min(start+float64(startRate*e.h), last-float64(lastRate*e.h)) < 0:
		// The tangents allow a dip to the far side and back.
		turn := g.root(loadTurns, 0, 0, e.h)
		rise, rate := g.gain(turn)
		if load, _ := g.load(turn, rise, rate); load < 0 != g.light {
			e.moveTo(g, g.root(loadVanishes, 0, 0, turn), eventNormal)
		}
	}
}

// finish moves the state to the end of the step and into the next cell, segment
// or side of zero load.
func (g *roll) finish(e *end) {
	g.s += g.travel(e.h)
	u := g.u + e.rise
	g.moving = false
	switch e.event {
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
	if e.event == eventCorner || e.event == eventLimit {
		g.t = g.reachS
	} else {
		g.t += e.h
	}
	if e.event == eventCorner {
		g.nextSegment()
	}
}

// nextSegment enters the segment that holds now.
func (g *roll) nextSegment() {
	for g.segment+1 < len(g.segments) && g.segments[g.segment+1].StartS <= g.t {
		g.segment++
	}
	g.setLight()
}
