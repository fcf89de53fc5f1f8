package takeoff

import "math"

// stand lets time pass while the aircraft stands because the forces sum to no
// more than zero: to the first moment they exceed zero, or to the end of the
// segment or of the time asked for.
//
// At rest the net force is a quadratic of time in each stretch where the wheel
// load keeps its sign, and the wheel load is a quadratic too.
func (g *roll) stand() event {
	g.prepare()
	h := g.reachS - g.t
	var cuts [4]float64
	n := 0
	square := 0.0
	if g.u > 0 {
		square = g.u * g.u
	}
	loadC := float64(g.m0*g.r.normalG) - float64(g.liftK*square) - g.lift0
	loadB := float64(g.m1*g.r.normalG) - g.lift1
	loadA := g.m2 * g.r.normalG
	cuts[0] = 0
	first, second := quadraticRoots(loadA, loadB, loadC)
	for _, cut := range [2]float64{first, second} {
		if cut > 0 && cut < h {
			n++
			cuts[n] = cut
		}
	}
	n++
	cuts[n] = h

	seg := &g.segments[g.segment]
	drag := -g.r.rollDragK
	if g.cells[g.cell].fromBehind {
		drag = g.r.rollDragK
	}
	e := g.u - g.cells[g.cell].base
	c := &g.cells[g.cell].c
	thrust := c[0] + float64(e*(c[1]+float64(e*(c[2]+float64(e*c[3])))))
	netC := thrust + g.forward0 + float64(drag*g.u*g.u) - float64(g.m0*g.r.slopeG)
	netB := seg.ForwardNPS - float64(g.m1*g.r.slopeG)
	netA := float64(-g.m2 * g.r.slopeG)
	for i := range n {
		low, high := cuts[i], cuts[i+1]
		mid := low + float64(0.5*(high-low))
		a, b, c0 := netA, netB, netC
		if loadC+float64(mid*(loadB+float64(mid*loadA))) > 0 {
			a -= float64(g.mu * loadA)
			b -= float64(g.mu * loadB)
			c0 -= float64(g.mu * loadC)
		}
		if release, ok := firstAbove(a, b, c0, low, high); ok {
			g.t += release
			g.light = loadC+float64(mid*(loadB+float64(mid*loadA))) <= 0
			g.moving = true
			return eventNone
		}
	}
	g.t = g.reachS
	if g.reachS >= g.limitS {
		return eventLimit
	}
	g.nextSegment()
	return eventCorner
}

// firstAbove is the first x in [low, high) from which a x^2 + b x + c is above
// zero.
func firstAbove(a, b, c, low, high float64) (float64, bool) {
	first, second := quadraticRoots(a, b, c)
	for _, x := range [3]float64{low, first, second} {
		if !(x >= low && x < high) {
			continue
		}
		value, slope := c+float64(x*(b+float64(x*a))), b+float64(2*a*x)
		if x == low && value > 0 {
			return x, true
		}
		if x != low && (slope > 0 || (slope == 0 && a > 0)) {
			return x, true
		}
		if x == low && math.Abs(value) <= 1e-13*math.Abs(c) && slope > 0 {
			return x, true
		}
	}
	return 0, false
}

// quadraticRoots are the real roots of a x^2 + b x + c in ascending order, NaN
// where there are none.
func quadraticRoots(a, b, c float64) (first, second float64) {
	if a == 0 {
		if b == 0 {
			return math.NaN(), math.NaN()
		}
		return -c / b, math.NaN()
	}
	under := float64(b*b) - float64(4*a*c)
	if under < 0 {
		return math.NaN(), math.NaN()
	}
	q := -0.5 * (b + math.Copysign(math.Sqrt(under), b))
	if q == 0 {
		return 0, 0
	}
	x, y := q/a, c/q
	return min(x, y), max(x, y)
}
