package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// An Estimator works out the run of one take-off fired at many moments, several
// times as fast as [Runner.Roll] and as a rule to two parts in 100 000, at worst,
// with a bumpy thrust curve, to two in a thousand: samples need numbers of runs,
// not digits. The roll before the units fire is integrated once
// for all moments. The thrust of the units is taken out of the equation of
// motion by its impulse, exactly,
//
//	u = y + J,  J = integral of (Fx + mu Fz)/m dt
//
// so that what is left, dy/dt, is smooth and long steps go across every corner
// of the traces (classical Runge-Kutta method of order 4). After the last thrust
// distance is a quadrature over airspeed.
//
// The zero Estimator is empty. Set it as often as wanted; it reuses its memory.
type Estimator struct {
	r           *Runner
	carried     burning // before the first thrust
	ended       burning // after the last
	first, last float64 // thrust, after the command
	cell        int     // where the airspeed was last
	moves       bool    // from rest, before the units fire
	before      []rolling
	beforeEnds  bool // the last of before is past lift-off, or nearly steady
	beforeRunM  float64
	beforeLiftS float64 // lift-off without firing, +Inf while not reached
	squareK     float64 // force per u^2 with the wheels loaded
	steadyG     float64 // deceleration that does not depend on airspeed, likewise
	pieces      []impulse
	nodes       []burning // at every half step of the burn
	stepS       float64
	burnSettled bool // nodes are filled in
}

// rolling is the state at a time before the units fire.
type rolling struct{ airspeed, rate, distance float64 }

// impulse is what the thrust has done by the start of a segment.
type impulse struct {
	segment    *booster.Segment
	speed, way float64 // J and its integral
}

// burning is what the units do at a time of the burn.
type burning struct {
	speed, way, mass, upward float64
	perKG                    float64 // 1/mass
	lightSq                  float64 // square of the airspeed that carries the wheels
	piece                    int     // of the schedule that it is in
}

// The steps of an Estimator.
const (
	beforeStepS = 1.2
	burnStepS   = 2.0
	burnStepMPS = 5.5
	leastSteps  = 3
	panelMPS    = 5
	leastRate   = 0.2 // m/s2: below it the take-off is left to Roll
	farAheadS   = LimitS
	// Either is less than a few millimetres of run.
	liftoffTolerS   = 1e-5
	liftoffTolerMPS = 1e-4
)

// Set makes e ready for a runner and a schedule of its units that are commanded
// at time 0. Both must stay as they are while e is used.
func (e *Estimator) Set(r *Runner, s *booster.Schedule) {
	*e = Estimator{r: r, before: e.before[:0], pieces: e.pieces[:0], nodes: e.nodes[:0], beforeLiftS: math.Inf(1)}
	segments := s.Segments()
	e.squareK = float64(r.rollingMu*r.rollLiftK) - r.rollDragK
	e.steadyG = float64(r.rollingMu*r.normalG) + r.slopeG
	e.carried = e.silent(r.grossMass + segments[0].MassKG)
	e.ended = e.silent(r.grossMass + segments[len(segments)-1].MassKG)
	e.first, e.last = s.FirstThrustS(), s.LastThrustS()
	e.cell = findCell(r.cells, r.headwind)
	rate := e.rate(r.headwind, &e.carried)
	e.moves = rate > leastRate && r.headwind*math.Abs(r.headwind) < r.liftoffSq*e.carried.mass
	e.before = append(e.before, rolling{airspeed: r.headwind, rate: rate})
	if e.last < e.first {
		return
	}
	e.pieces = append(e.pieces, impulse{segment: &segments[0]})
	for i := 1; i < len(segments); i++ {
		e.pieces = append(e.pieces, impulse{segment: &segments[i]})
		e.pieces[i].speed, e.pieces[i].way = e.impulse(i-1, segments[i].StartS)
	}
}

// RunM is the run with the command at a time after brake release, negative on
// the brakes. ok is false where the take-off is too close to not lifting off for
// an estimate, or does not: Roll tells then.
func (e *Estimator) RunM(commandS float64) (runM float64, ok bool) {
	if e.last < e.first { // nothing burns
		return e.silentRun()
	}
	start := commandS + e.first
	if start <= 0 {
		return e.burn(-commandS, e.r.headwind, 0)
	}
	if !e.moves || !e.goBefore(start) {
		return 0, false
	}
	if start >= e.beforeLiftS {
		return e.beforeRunM, true
	}
	i := min(int(start/beforeStepS), len(e.before)-2)
	u, s := e.between(i, start-float64(float64(i)*beforeStepS))
	return e.burn(e.first, u, s)
}

// silentRun is the run without thrust of the units.
func (e *Estimator) silentRun() (float64, bool) {
	if !e.moves || !e.goBefore(farAheadS) || math.IsInf(e.beforeLiftS, 1) {
		return 0, false
	}
	return e.beforeRunM, true
}

// force is thrust less drag and rolling friction with no upward thrust.
func (e *Estimator) force(u, mass float64) (force, load float64) {
	r := e.r
	cells := r.cells
	for u >= cells[e.cell].high {
		e.cell++
	}
	for u < cells[e.cell].low {
		e.cell--
	}
	c := &cells[e.cell]
	d := u - c.base
	square := float64(u * u)
	load = float64(mass * r.normalG)
	force = c.c[0] + float64(d*(c.c[1]+float64(d*(c.c[2]+float64(d*c.c[3])))))
	if c.fromBehind {
		force += float64(r.rollDragK * square)
	} else {
		force -= float64(r.rollDragK * square)
		load -= float64(r.rollLiftK * square)
	}
	return force - float64(r.rollingMu*load), load
}

// silent is what units of a total mass do that give no thrust.
func (e *Estimator) silent(massKG float64) burning {
	return burning{mass: massKG, perKG: 1 / massKG, lightSq: massKG * e.r.normalG / e.r.rollLiftK}
}

// rate is the acceleration less the thrust of the units, or dy/dt with their
// impulse taken out: the common case by itself.
func (e *Estimator) rate(y float64, n *burning) float64 {
	u := y + n.speed
	c := &e.r.cells[e.cell]
	square := u * u
	if u >= c.high || u < c.low || c.fromBehind || square > n.lightSq {
		return e.rateSpecial(u, n)
	}
	d := u - c.base
	return float64((c.c[0]+float64(d*(c.c[1]+float64(d*(c.c[2]+float64(d*c.c[3])))))+float64(e.squareK*square))*n.perKG) - e.steadyG
}

// rateSpecial is rate in another cell, with air from behind or with the wheels
// light.
func (e *Estimator) rateSpecial(u float64, n *burning) float64 {
	force, load := e.force(u, n.mass)
	if load -= n.upward; load < 0 {
		force += float64(e.r.rollingMu * load)
	}
	return float64(force*n.perKG) - e.r.slopeG
}

// goBefore integrates the roll before the units fire, at least to a time. It is
// false where the aircraft nearly stops gaining speed before.
func (e *Estimator) goBefore(to float64) bool {
	const h = beforeStepS
	lift := math.Sqrt(e.r.liftoffSq * e.carried.mass)
	for float64(len(e.before)-1)*h <= to && !e.beforeEnds {
		b := e.before[len(e.before)-1]
		k1 := b.rate
		k2 := e.rate(b.airspeed+float64(0.5*h*k1), &e.carried)
		k3 := e.rate(b.airspeed+float64(0.5*h*k2), &e.carried)
		k4 := e.rate(b.airspeed+float64(h*k3), &e.carried)
		next := rolling{
			airspeed: b.airspeed + float64(h/6*(k1+float64(2*(k2+k3))+k4)),
			distance: b.distance + float64(h*(b.airspeed-e.r.headwind)) + float64(h*h/6*(k1+k2+k3)),
		}
		next.rate = e.rate(next.airspeed, &e.carried)
		e.before = append(e.before, next)
		if next.airspeed >= lift {
			i := len(e.before) - 2
			at := e.solve(h, b.airspeed-lift, next.airspeed-lift, func(x float64) float64 {
				u, _ := e.between(i, x)
				return u - lift
			})
			u, s := e.between(i, at)
			e.beforeLiftS = float64(float64(i)*h) + at
			e.beforeRunM = s + float64((u-e.r.headwind)*e.r.rotationS)
			e.beforeEnds = true
		} else if next.rate < leastRate {
			e.beforeEnds = true
		}
	}
	return !e.beforeEnds || !math.IsInf(e.beforeLiftS, 1) || to <= float64(len(e.before)-1)*h
}

// between is the state a while after the i-th of before.
func (e *Estimator) between(i int, x float64) (airspeed, distance float64) {
	a, b := &e.before[i], &e.before[i+1]
	airspeed = hermite(a.airspeed, a.rate, b.airspeed, b.rate, beforeStepS, x)
	w := e.r.headwind
	return airspeed, hermite(a.distance, a.airspeed-w, b.distance, b.airspeed-w, beforeStepS, x)
}

// hermite is the cubic with given values and slopes at 0 and h.
func hermite(y0, d0, y1, d1, h, x float64) float64 {
	t := x / h
	secant := (y1 - y0) / h
	return y0 + float64(x*(d0+float64(t*(float64(3*secant)-float64(2*d0)-d1+float64(t*(d0+d1-float64(2*secant)))))))
}

// impulse is J and its integral at a time in or after the i-th piece, which must
// reach there.
func (e *Estimator) impulse(i int, at float64) (speed, way float64) {
	p := &e.pieces[i]
	g := p.segment
	if i == 0 {
		return 0, 0
	}
	x := at - g.StartS
	mu := e.r.rollingMu
	f0, slope := g.ForwardN+float64(mu*g.UpwardN), g.ForwardNPS+float64(mu*g.UpwardNPS)
	m0 := e.r.grossMass + g.MassKG
	half := 0.5 * x
	// Simpson's rule over f/m, and over (x - t) f/m.
	q0 := f0 / m0
	q1 := (f0 + float64(half*slope)) / (m0 + float64(half*(g.MassKGPS+float64(half*g.MassKGPS2))))
	q2 := (f0 + float64(x*slope)) / (m0 + float64(x*(g.MassKGPS+float64(x*g.MassKGPS2))))
	return p.speed + float64(x/6*(q0+float64(4*q1)+q2)), p.way + float64(x*p.speed) + float64(x*x/6*(q0+float64(2*q1)))
}

// node is what the units do at a time; from is a piece at or before it.
func (e *Estimator) node(at float64, from int) burning {
	for from+1 < len(e.pieces) && e.pieces[from+1].segment.StartS <= at {
		from++
	}
	var n burning
	n.speed, n.way = e.impulse(from, at)
	n.piece = from
	g := e.pieces[from].segment
	x := at - g.StartS
	n.mass = e.r.grossMass + g.MassKG + float64(x*(g.MassKGPS+float64(x*g.MassKGPS2)))
	n.upward = g.UpwardN + float64(x*g.UpwardNPS)
	n.perKG = 1 / n.mass
	n.lightSq = (float64(n.mass*e.r.normalG) - n.upward) / e.r.rollLiftK
	return n
}

// settle works out the nodes of the burn.
func (e *Estimator) settle() {
	final := e.node(e.last, 0)
	gain := final.speed + float64(max(0, e.before[0].rate)*(e.last-e.first))
	steps := max(leastSteps, int(math.Ceil(max(gain/burnStepMPS, (e.last-e.first)/burnStepS))))
	e.stepS = (e.last - e.first) / float64(steps)
	from := 0
	for k := range 2*steps + 1 {
		at := e.first + float64(0.5*float64(k)*e.stepS)
		if k == 2*steps {
			at = e.last
		}
		n := e.node(at, from)
		from = n.piece
		e.nodes = append(e.nodes, n)
	}
	e.burnSettled = true
}

// burn goes on from a state at a time after the command, in the burn or after
// it, to lift-off.
func (e *Estimator) burn(at, airspeed, distance float64) (float64, bool) {
	if !e.burnSettled {
		e.settle()
	}
	if at >= e.last {
		return e.after(airspeed, distance)
	}
	atRest := airspeed <= e.r.headwind
	k := 0
	now := e.nodes[0]
	y, x := airspeed-now.speed, distance-now.way
	if at > e.first {
		// On the brakes: start inside the burn, and go to the next node first.
		now = e.node(at, 0)
		y, x = airspeed-now.speed, distance-now.way
		k = min(len(e.nodes)-3, 2*int((at-e.first)/e.stepS))
		next := &e.nodes[k+2]
		h := e.first + float64(0.5*float64(k+2)*e.stepS) - at
		middle := e.node(at+float64(0.5*h), now.piece)
		if atRest && e.restRate(at) < leastRate {
			return 0, false
		}
		var off bool
		var run float64
		if y, x, run, off = e.step(y, x, at, h, &now, &middle, next); off {
			return run, true
		}
		k += 2
	} else if atRest && e.restRate(at) < leastRate {
		return 0, false
	}
	for ; k+2 < len(e.nodes); k += 2 {
		var off bool
		var run float64
		at := e.first + float64(0.5*float64(k)*e.stepS)
		if y, x, run, off = e.step(y, x, at, e.stepS, &e.nodes[k], &e.nodes[k+1], &e.nodes[k+2]); off {
			return run, true
		}
	}
	end := &e.nodes[len(e.nodes)-1]
	return e.after(y+end.speed, x+end.way)
}

// restRate is the acceleration from rest at a time of the burn.
func (e *Estimator) restRate(at float64) float64 {
	n := e.node(at, 0)
	g := e.pieces[n.piece].segment
	force, load := e.force(e.r.headwind, n.mass)
	force += float64(e.r.rollingMu * n.upward)
	if load -= n.upward; load < 0 {
		force += float64(e.r.rollingMu * load)
	}
	return (force+g.ForwardN+float64((at-g.StartS)*g.ForwardNPS))/n.mass - e.r.slopeG
}

// step takes one step of h from a time, and gives the run where it passes
// lift-off.
func (e *Estimator) step(y, x, at, h float64, start, middle, end *burning) (y1, x1, run float64, off bool) {
	w := e.r.headwind
	k1 := e.rate(y, start)
	k2 := e.rate(y+float64(0.5*h*k1), middle)
	k3 := e.rate(y+float64(0.5*h*k2), middle)
	k4 := e.rate(y+float64(h*k3), end)
	y1 = y + float64(h/6*(k1+float64(2*(k2+k3))+k4))
	x1 = x + float64(h*(y-w)) + float64(h*h/6*(k1+k2+k3))
	u1 := y1 + end.speed
	if u1 <= 0 || u1*u1 < e.r.liftoffSq*end.mass {
		return y1, x1, 0, false
	}
	slope := e.rate(y1, end)
	short := func(t float64) float64 {
		n := e.node(at+t, start.piece)
		return hermite(y, k1, y1, slope, h, t) + n.speed - math.Sqrt(e.r.liftoffSq*n.mass)
	}
	low := y + start.speed - math.Sqrt(e.r.liftoffSq*start.mass)
	t := 0.0
	if low < 0 {
		t = e.solve(h, low, u1-math.Sqrt(e.r.liftoffSq*end.mass), short)
	}
	n := e.node(at+t, start.piece)
	u := hermite(y, k1, y1, slope, h, t) + n.speed
	s := hermite(x, y-w, x1, y1-w, h, t) + n.way
	return y1, x1, s + float64((u-w)*e.r.rotationS), true
}

// solve finds where f is zero between 0, where it is low < 0, and h, where it is
// high >= 0.
func (e *Estimator) solve(h, low, high float64, f func(float64) float64) float64 {
	a, b := 0.0, h
	kept := 0
	for range 60 {
		if b-a <= liftoffTolerS {
			break
		}
		x := b - high*(b-a)/(high-low)
		if !(x > a && x < b) {
			x = a + float64(0.5*(b-a))
		}
		switch v := f(x); {
		case math.Abs(v) < liftoffTolerMPS:
			return x
		case v < 0:
			a, low = x, v
			if kept == -1 {
				high *= 0.5
			}
			kept = -1
		default:
			b, high = x, v
			if kept == 1 {
				low *= 0.5
			}
			kept = 1
		}
	}
	return b
}

// after goes on from the last thrust to lift-off.
func (e *Estimator) after(airspeed, distance float64) (float64, bool) {
	w := e.r.headwind
	lift := math.Sqrt(e.r.liftoffSq * e.ended.mass)
	if airspeed >= lift {
		return distance + float64((airspeed-w)*e.r.rotationS), true
	}
	panels := int((lift-airspeed)/panelMPS) + 1
	width := (lift - airspeed) / float64(panels)
	greatest, least := 0.0, math.Inf(1)
	for i := range panels {
		middle := airspeed + float64((float64(i)+0.5)*width)
		for k, node := range gaussNodes {
			for _, u := range [2]float64{middle - float64(0.5*width*node), middle + float64(0.5*width*node)} {
				rate := e.rate(u, &e.ended)
				if rate < leastRate {
					return 0, false
				}
				greatest, least = max(greatest, rate), min(least, rate)
				distance += 0.5 * width * gaussWeights[k] * (u - w) / rate
			}
		}
	}
	if least < 0.3*greatest {
		return 0, false
	}
	return distance + float64((lift-w)*e.r.rotationS), true
}

// The four-point rule of Gauss and Legendre.
var (
	gaussNodes   = [2]float64{0.3399810435848563, 0.8611363115940526}
	gaussWeights = [2]float64{0.6521451548625461, 0.3478548451374538}
)
