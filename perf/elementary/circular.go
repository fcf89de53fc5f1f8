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
		return quarter(x, 0)
	}
	if !(math.Abs(x) <= MostAngle) {
		return math.NaN(), math.NaN()
	}
	quarters := math.Floor(float64(x*(2/math.Pi)) + 0.5)
	sin, cos = quarter(reduced(x, quarters))
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

// quarter is the sine and the cosine of r + low, |r| <= pi/4: Taylor's series to
// r^17 and r^16; what is left out is below 1e-19 of the sine and 3e-18. Each is
// summed in two chains, which processors work on at once.
func quarter(r, low float64) (sin, cos float64) {
	z := float64(r * r)
	y := float64(z * z)
	a := -1./39916800 - float64(y*(1./1307674368000))
	b := 1./6227020800 + float64(y*(1./355687428096000))
	c := 1./479001600 + float64(y*(1./20922789888000))
	d := -1./3628800 - float64(y*(1./87178291200))
	a = float64(a*y) - 1./5040
	b = float64(b*y) + 1./362880
	c = float64(c*y) + 1./40320
	d = float64(d*y) - 1./720
	a = float64(a*y) - 1./6
	b = float64(b*y) + 1./120
	c = float64(c*y) + 1./24
	sine := a + float64(z*b)
	cosine := c + float64(z*d)

	half := float64(0.5 * z)
	one, rest := quickSum(1, -half)
	sin = r + (float64(float64(r*z)*sine) + float64(low*one))
	cos = one + (rest + (float64(y*cosine) - float64(r*low)))
	return sin, cos
}
