package elementary

import "math"

// arcs are the angles whose tangents are 0, 1/8, ..., 1, each as the sum of two
// numbers.
var arcs = [9][2]float64{
	{},
	{0.12435499454676144, -3.1253241424539383e-18},
	{0.24497866312686414, 1.0698755618734451e-17},
	{0.35877067027057225, -2.4623815582638635e-17},
	{0.4636476090008061, 2.2698777452961687e-17},
	{0.5585993153435624, -5.4556305485916264e-18},
	{0.6435011087932844, 1.5834785051444286e-17},
	{0.7188299996216245, -2.1478388444456983e-17},
	{0.7853981633974483, 3.061616997868383e-17},
}

// Atan2 is the angle, from -pi to pi, of a point x to the right and y up, with
// the sign of y.
func Atan2(y, x float64) float64 {
	switch {
	case x != x || y != y:
		return math.NaN()
	case math.IsInf(x, 0) || math.IsInf(y, 0):
		y, x = corner(y), corner(x)
	case y == 0 && x == 0:
		x = math.Copysign(1, x)
	}
	up, right := math.Abs(y), math.Abs(x)
	// A common factor keeps products of the two within what a number can hold.
	switch most := max(up, right); {
	case most > 0x1p900:
		up, right = up*0x1p-200, right*0x1p-200
	case most < 0x1p-700:
		up, right = up*0x1p200, right*0x1p200
	}
	return math.Copysign(arc(up, 0, right, 0, math.Signbit(x)), y)
}

// corner stands for a number where another is infinite.
func corner(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.Copysign(1, v)
	}
	return math.Copysign(0, v)
}

// Asin is the angle from -pi/2 to pi/2 whose sine is x; NaN where |x| is above 1.
func Asin(x float64) float64 {
	up := math.Abs(x)
	if up <= 0.5 {
		return math.Copysign(lowAsin(up), x)
	}
	if !(up <= 1) {
		return math.NaN()
	}
	square, squareLow := twoProduct(up, up)
	rest, restLow := quickSum(1, -square)
	restLow -= squareLow
	right, rightLow := math.Sqrt(rest), 0.0
	if right > 0 {
		rightLow = (math.FMA(-right, right, rest) + restLow) / (2 * right)
	}
	return math.Copysign(arc(up, 0, right, rightLow, false), x)
}

// lowAsin is Asin from 0 to 1/2, as steep as a climb gets. With c one of 0, 1/8,
// ..., 1/2 near x it is asin c + asin w, w = x sqrt(1 - c^2) - c sqrt(1 - x^2).
func lowAsin(x float64) float64 {
	k := int(float64(8*x) + 0.375)
	if k == 0 {
		return x + smallAsin(x)
	}
	at := &sines[k]
	across, rest := twoProduct(float64(k)/8, math.Sqrt(math.FMA(-x, x, 1)))
	w := math.FMA(x, at.cosine, -across) + (float64(x*at.cosineLow) - rest)
	high, low := quickSum(at.angle, w)
	return high + (low + (at.angleLow + smallAsin(w)))
}

// smallAsin is asin w - w for |w| < 0.091: its power series to w^17, what is left
// out is below 1e-20.
func smallAsin(w float64) float64 {
	z := float64(w * w)
	y := float64(z * z)
	a := 63./2816 + float64(y*(143./10240))
	b := 231./13312 + float64(y*(6435./557056))
	a = float64(a*y) + 5./112
	b = float64(b*y) + 35./1152
	a = float64(a*y) + 1./6
	b = float64(b*y) + 3./40
	return float64(float64(w*z) * (a + float64(z*b)))
}

// sines are the angles whose sines are 0, 1/8, ..., 1/2, and their cosines, each
// as the sum of two numbers.
var sines = [5]struct{ angle, angleLow, cosine, cosineLow float64 }{
	{0, 0, 1, 0},
	{0.1253278311680654, 1.2906010488810617e-18, 0.9921567416492215, -4.712605530756651e-17},
	{0.25268025514207865, 6.584019697419058e-18, 0.9682458365518543, -3.40525771686592e-17},
	{0.3843967744956391, 1.0793527747925466e-18, 0.9270248108869579, -4.335160997268477e-18},
	{0.5235987755982989, -5.360408832255455e-17, 0.8660254037844386, 5.0175421109034514e-17},
}

// arc is the angle of a point up and right, each at least 0 and the sum of two
// numbers, or left instead of right.
//
// With t the tangent, c one of 0, 1/8, ..., 1 near it and u = (t - c)/(1 + t c),
// the angle is atan c + atan u, -0.05 < u < 0.08.
func arc(up, upLow, right, rightLow float64, left bool) float64 {
	steep := up > right
	if steep {
		up, upLow, right, rightLow = right, rightLow, up, upLow
	}
	// Below an eighth c is of the size of the angle itself, which would be the
	// difference of two numbers: that begins late.
	k := int(float64(8*(up/right)) + 0.375)
	c := float64(k) / 8
	over := math.FMA(-c, right, up) + (upLow - float64(c*rightLow))
	under := math.FMA(c, up, right) + (rightLow + float64(c*upLow))
	u := over / under
	z := float64(u * u)
	small := float64(float64(u*z) * series(z, arcSeries[:]))
	high, low := arcs[k][0], arcs[k][1]
	switch {
	case steep && left:
		high, low = quickSum(halfPi, high)
		low += halfPiLow + arcs[k][1]
	case steep:
		high, low = quickSum(halfPi, -high)
		low += halfPiLow - arcs[k][1]
		u, small = -u, -small
	case left:
		high, low = quickSum(math.Pi, -high)
		low += 2*halfPiLow - arcs[k][1]
		u, small = -u, -small
	}
	high, rest := quickSum(high, u)
	return high + (rest + (low + small))
}

// arcSeries are the terms of atan(u)/u in u^2 after the first, to where the rest
// is below 1e-20 of it.
var arcSeries = [...]float64{-1. / 3, 1. / 5, -1. / 7, 1. / 9, -1. / 11, 1. / 13, -1. / 15, 1. / 17}
