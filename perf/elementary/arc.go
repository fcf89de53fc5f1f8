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
