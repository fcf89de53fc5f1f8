package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// The ground run is integrated by Taylor series. Between two corners of the
// schedule and within one cell of airspeed the equation of motion is
//
//	du/dt = P(u, tau)/m(tau) - G
//
// with u the airspeed, P a cubic in u plus a line in tau, m a quadratic and G a
// constant, so the coefficients of u(tau) follow from one another by a short
// recurrence. The series is its own dense output, of full order: corners, cell
// edges, the wheels going light, lift-off, standstill and marks on the deck are
// found on it to rounding, and no step is taken twice.
//
// Products that feed sums are converted explicitly, which forbids fusing them:
// every architecture computes the same bits.
const (
	maxOrder  = 14
	stepError = 1e-7 // m/s, largest last terms of the series in a step; runs are then good to 1e-9
)

// series holds coefficients up to maxOrder. Its length is a power of two, so that
// an index with mask needs no check.
type series [mask + 1]float64

const mask = 15

// reciprocal[k] is 1/k.
var reciprocal = series{0, 1, 1. / 2, 1. / 3, 1. / 4, 1. / 5, 1. / 6, 1. / 7, 1. / 8,
	1. / 9, 1. / 10, 1. / 11, 1. / 12, 1. / 13, 1. / 14, 1. / 15}

// event says why a step ended where it did.
type event uint8

const (
	eventNone     event = iota // the series reaches no further
	eventCorner                // corner of the schedule
	eventLimit                 // the time asked for
	eventEdge                  // edge of an airspeed cell
	eventNormal                // the wheels go light or take load again
	eventLiftoff               // lift-off speed
	eventHalt                  // standstill
	eventDistance              // the distance asked for
)

// roll is an aircraft rolling along the axis. It lives on the stack of one run.
type roll struct {
	r        *Runner
	segments []booster.Segment
	cells    []cell
	mu       float64

	limitS    float64 // time to stop at
	distanceM float64 // distance to stop at
	liftsOff  bool    // lift-off ends the run

	t, u, s float64 // time, airspeed, distance
	segment int
	cell    int
	light   bool // the wing and the units carry everything: N = 0
	moving  bool // released from a stand in this step

	// The series of the step about to be taken.
	order            int
	d                series  // u(tau) - u(0); d[0] is 0
	m0, m1, m2       float64 // mass
	lift0, lift1     float64 // upward thrust
	forward0, slope1 float64 // forward thrust
	p0, p1, p2, p3   float64 // forces as a polynomial of u - u(0)
	deceleration     float64 // G
	liftK            float64
	reachS           float64 // end of the segment or of the time asked for
}

// start puts the roll at a time, ground speed and distance.
func (g *roll) start(timeS, groundSpeedMPS, distanceM float64) {
	g.t, g.u, g.s = timeS, groundSpeedMPS+g.r.headwind, distanceM
	g.segment = 0
	for g.segment+1 < len(g.segments) && g.segments[g.segment+1].StartS <= timeS {
		g.segment++
	}
	g.cell = findCell(g.cells, g.u)
	g.setLight()
}

// findCell finds the cell an airspeed is in; on an edge, the one above.
func findCell(cells []cell, u float64) int {
	i := 0
	for i+1 < len(cells) && cells[i].high <= u {
		i++
	}
	return i
}

// stands tells whether the aircraft is at rest on the deck.
func (g *roll) stands() bool { return g.u <= g.r.headwind }

// setLight decides on which side of zero the wheel load is.
func (g *roll) setLight() {
	seg := &g.segments[g.segment]
	tau := g.t - seg.StartS
	mass := g.r.grossMass + seg.MassKG + float64(tau*(seg.MassKGPS+float64(tau*seg.MassKGPS2)))
	load := float64(mass*g.r.normalG) - (seg.UpwardN + float64(tau*seg.UpwardNPS))
	if g.u > 0 {
		load -= float64(g.r.rollLiftK * float64(g.u*g.u))
	}
	g.light = load < 0
}

// prepare sets up the polynomials at the present state and returns the
// acceleration.
func (g *roll) prepare() float64 {
	r := g.r
	seg := &g.segments[g.segment]
	g.reachS = g.limitS
	if g.segment+1 < len(g.segments) {
		g.reachS = min(g.reachS, g.segments[g.segment+1].StartS)
	}
	tau := g.t - seg.StartS
	g.m0 = r.grossMass + seg.MassKG + float64(tau*(seg.MassKGPS+float64(tau*seg.MassKGPS2)))
	g.m1 = seg.MassKGPS + float64(2*tau*seg.MassKGPS2)
	g.m2 = seg.MassKGPS2
	g.lift0, g.lift1 = seg.UpwardN+float64(tau*seg.UpwardNPS), seg.UpwardNPS
	g.forward0, g.slope1 = seg.ForwardN+float64(tau*seg.ForwardNPS), seg.ForwardNPS

	c := &g.cells[g.cell]
	quadratic := -r.rollDragK
	g.liftK = r.rollLiftK
	if c.fromBehind {
		quadratic, g.liftK = r.rollDragK, 0
	}
	f0 := g.forward0
	g.deceleration = r.slopeG
	if !g.light {
		quadratic += float64(g.mu * g.liftK)
		f0 += float64(g.mu * g.lift0)
		g.slope1 += float64(g.mu * g.lift1)
		g.deceleration += float64(g.mu * r.normalG)
	}
	e := g.u - c.base
	qu := float64(quadratic * g.u)
	g.p3 = c.c[3]
	g.p2 = c.c[2] + float64(3*c.c[3]*e) + quadratic
	g.p1 = c.c[1] + float64(e*(2*c.c[2]+float64(3*c.c[3]*e))) + 2*qu
	g.p0 = c.c[0] + float64(e*(c.c[1]+float64(e*(c.c[2]+float64(e*c.c[3]))))) + float64(qu*g.u) + f0
	g.d[1] = float64(g.p0/g.m0) - g.deceleration
	return g.d[1]
}

// expand computes the series and the step h it is good for.
func (g *roll) expand() float64 {
	var e, square series
	d := &g.d
	inverse := 1 / g.m0
	e[0] = float64(g.p0 * inverse)
	h := g.reachS - g.t
	e1 := float64((float64(g.p1*d[1]) + g.slope1 - float64(g.m1*e[0])) * inverse)
	e[1] = e1
	d[2] = 0.5 * e1
	h = g.guessEdge(h)

	least := 2
	if math.Abs(d[1]) <= 0.05*math.Abs(float64(d[2]*h)) {
		// Hardly any acceleration yet: terms may vanish in between, as every
		// third does not in still air.
		least = maxOrder
	}
	power := h * h
	before := math.Inf(1)
	order := 2
	for k := 2; k < maxOrder; k++ {
		// Oldest products first and two sums side by side: the newest coefficient
		// is waited for last.
		var sum, other float64
		i := (k - 1) / 2
		for ; i > 1; i -= 2 {
			sum += float64(d[i&mask] * d[(k-i)&mask])
			other += float64(d[(i-1)&mask] * d[(k-i+1)&mask])
		}
		if i == 1 {
			sum += float64(d[1] * d[(k-1)&mask])
		}
		sum += other
		sum += sum
		if k&1 == 0 {
			sum += float64(d[(k/2)&mask] * d[(k/2)&mask])
		}
		square[k&mask] = sum
		force := float64(g.p2 * sum)
		if g.p3 != 0 {
			var cube, other float64
			i := k - 2
			for ; i > 1; i -= 2 {
				cube += float64(d[i&mask] * square[(k-i)&mask])
				other += float64(d[(i-1)&mask] * square[(k-i+1)&mask])
			}
			if i == 1 {
				cube += float64(d[1] * square[(k-1)&mask])
			}
			force += float64(g.p3 * (cube + other))
		}
		force += float64(g.p1 * d[k&mask])
		ek := float64((force - float64(g.m1*e[(k-1)&mask]) - float64(g.m2*e[(k-2)&mask])) * inverse)
		e[k&mask] = ek
		d[(k+1)&mask] = float64(ek * reciprocal[(k+1)&mask])
		order = k + 1
		power *= h
		term := math.Abs(float64(d[(k+1)&mask] * power))
		if term+before <= stepError && order >= least {
			break
		}
		before = term
	}
	g.order = order
	if order == maxOrder {
		h = g.shorten(h)
	}
	return h
}

// guessEdge shortens the step to a little beyond where the first terms of the
// series reach the edge of the cell, so that high orders are not wasted.
func (g *roll) guessEdge(h float64) float64 {
	c := &g.cells[g.cell]
	rate, curve := g.d[1], g.d[2]
	gap := c.high - g.u
	if rate < 0 {
		gap = max(c.low, g.r.headwind) - g.u
	}
	if g.liftsOff && rate > 0 {
		// A mass that falls brings lift-off nearer than this, never farther.
		if lift := math.Sqrt(float64(g.r.liftoffSq*g.m0)) - g.u; lift > 0 {
			gap = min(gap, lift)
		}
	}
	if rate == 0 || math.IsInf(gap, 0) {
		return h
	}
	first := gap / rate
	// One Newton correction of rate h + curve h^2 = gap.
	if slope := rate + float64(2*curve*first); slope*rate > 0 {
		first -= float64(curve*float64(first*first)) / slope
	}
	if reach := 1.02 * first; reach > 0 && reach < h {
		return reach
	}
	return h
}

// shorten reduces a step until the last three terms of the series are small.
func (g *roll) shorten(h float64) float64 {
	const n = maxOrder
	for range 2000 {
		power := 1.0
		for range n - 2 {
			power *= h
		}
		last := math.Abs(g.d[n-2]) + float64(h*(math.Abs(g.d[n-1])+float64(h*math.Abs(g.d[n]))))
		if float64(last*power) <= stepError {
			break
		}
		h *= 0.8
	}
	return h
}

// gain evaluates the series: how much the airspeed rises in tau, and its rate.
// Even and odd terms are summed apart, which halves the wait.
func (g *roll) gain(tau float64) (rise, rate float64) {
	square := float64(tau * tau)
	var even, odd, evenRate, oddRate float64 // of d[k] tau^k and k d[k] tau^(k-1)
	k := g.order
	if k&1 == 0 {
		even = g.d[k&mask]
		oddRate = float64(float64(k) * even)
		k--
	}
	for ; k >= 1; k -= 2 {
		o, e := g.d[k&mask], g.d[(k-1)&mask]
		odd = float64(odd*square) + o
		even = float64(even*square) + e
		evenRate = float64(evenRate*square) + float64(float64(k)*o)
		if k > 1 {
			oddRate = float64(oddRate*square) + float64(float64(k-1)*e)
		}
	}
	return even + float64(tau*odd), evenRate + float64(tau*oddRate)
}

// travel is the distance rolled in tau.
func (g *roll) travel(tau float64) float64 {
	n := g.order
	sum := float64(g.d[n] * reciprocal[n+1])
	for k := n - 1; k >= 1; k-- {
		sum = float64(sum*tau) + float64(g.d[k]*reciprocal[k+1])
	}
	return float64(tau * ((g.u - g.r.headwind) + float64(tau*sum)))
}
