package elementary

import "math"

// Half of pi as the sum of three numbers.
const (
	halfPi       = math.Pi / 2
	halfPiLow    = 6.123233995736766e-17
	halfPiLowest = -1.4973849048591698e-33
)

// MostAngle is the greatest angle, in radians, that is brought into a quarter
// turn with all its digits. Nothing that turns gets near it; beyond it sine and
// cosine are NaN.
const MostAngle = 1 << 30

// Sincos is the sine and the cosine of an angle in radians.
func Sincos(x float64) (sin, cos float64) {
	if math.Abs(x) <= math.Pi/4 {
		return sinOf(x, 0), cosOf(x, 0)
	}
	if !(math.Abs(x) <= MostAngle) {
		return math.NaN(), math.NaN()
	}
	quarters := math.Floor(float64(x*(2/math.Pi)) + 0.5)
	r, low := reduced(x, quarters)
	sin, cos = sinOf(r, low), cosOf(r, low)
	switch int64(quarters) & 3 {
	case 1:
		return cos, -sin
	case 2:
		return -sin, -cos
	case 3:
		return -cos, sin
	}
	return sin, cos
}

// Cos is the cosine of an angle in radians.
func Cos(x float64) float64 {
	_, cos := Sincos(x)
	return cos
}

// reduced is x less so many quarter turns as the sum of two numbers.
func reduced(x, quarters float64) (r, low float64) {
	a, aLow := twoProduct(quarters, halfPi)
	b, bLow := twoProduct(quarters, halfPiLow)
	r, low = twoSum(x-a, -aLow) // the difference is exact
	r, rest := twoSum(r, -b)
	return quickSum(r, low+rest-bLow-float64(quarters*halfPiLowest))
}

// sinOf is the sine of r + low, |r| <= pi/4: Taylor's series to r^17, what is
// left out is below 1e-19 of it.
func sinOf(r, low float64) float64 {
	z := float64(r * r)
	y := float64(z * z)
	even := -1. / 1307674368000
	even = float64(even*y) - 1./39916800
	even = float64(even*y) - 1./5040
	even = float64(even*y) - 1./6
	odd := 1. / 355687428096000
	odd = float64(odd*y) + 1./6227020800
	odd = float64(odd*y) + 1./362880
	odd = float64(odd*y) + 1./120
	tail := even + float64(z*odd)
	return r + (float64(float64(r*z)*tail) + float64(low*(1-float64(0.5*z))))
}

// cosOf is the cosine of r + low, |r| <= pi/4: Taylor's series to r^16, what is
// left out is below 3e-18.
func cosOf(r, low float64) float64 {
	z := float64(r * r)
	y := float64(z * z)
	even := 1. / 20922789888000
	even = float64(even*y) + 1./479001600
	even = float64(even*y) + 1./40320
	even = float64(even*y) + 1./24
	odd := -1. / 87178291200
	odd = float64(odd*y) - 1./3628800
	odd = float64(odd*y) - 1./720
	tail := even + float64(z*odd)
	one, rest := quickSum(1, float64(-0.5*z))
	return one + (rest + (float64(y*tail) - float64(r*low)))
}
