package elementary

import "math"

// Log is the natural logarithm of x: -Inf at 0, NaN below.
func Log(x float64) float64 {
	switch {
	case x != x || x > math.MaxFloat64:
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	high, low := log(x)
	return high + low
}

// Log1p is the natural logarithm of 1 + x, accurate for small x too: -Inf at -1,
// NaN below.
func Log1p(x float64) float64 {
	switch {
	case x != x || x > math.MaxFloat64 || x == 0:
		return x
	case x < -1:
		return math.NaN()
	case x == -1:
		return math.Inf(-1)
	}
	// ln(a + b) is ln a + b/a where b is what a lost in rounding.
	sum, rest := twoSum(1, x)
	high, low := log(sum)
	return high + (low + rest/sum)
}

// third is 1/3 as the sum of two numbers.
const (
	third    = 1. / 3
	thirdLow = 1.850371707708594e-17
)

// reciprocals of 5, 7, ..., 25: the series of atanh(s)/s in s^2 after its second
// term, to where the rest is below 1e-21 for s < 0.1716.
var reciprocals = [...]float64{1. / 5, 1. / 7, 1. / 9, 1. / 11, 1. / 13, 1. / 15, 1. / 17, 1. / 19, 1. / 21, 1. / 23, 1. / 25}

// log is the natural logarithm of a finite x above 0 as the sum of two numbers,
// within 2^-64 of itself.
//
// With x = 2^e m, m from sqrt(1/2) to sqrt 2, it is e ln 2 + 2 atanh s with s =
// (m - 1)/(m + 1).
func log(x float64) (high, low float64) {
	m, exponent := math.Frexp(x)
	if m < math.Sqrt2/2 {
		m *= 2
		exponent--
	}
	over := m - 1 // exact
	under, underLow := twoSum(m, 1)
	s := over / under
	sLow := (math.FMA(-s, under, over) - float64(s*underLow)) / under

	z, zLow := twoProduct(s, s)
	zLow += float64(2 * float64(s*sLow))
	c, cLow := quickSum(third, float64(z*series(z, reciprocals[:])))
	cLow += thirdLow
	p, pLow := twoProduct(z, c)
	pLow += float64(z*cLow) + float64(zLow*c)
	t, tLow := twoProduct(s, p)
	tLow += float64(s*pLow) + float64(sLow*p)
	high, low = quickSum(s, t)
	low += sLow + tLow
	high, low = quickSum(float64(2*high), float64(2*low))
	if exponent == 0 {
		return high, low
	}
	e, eLow := twoProduct(float64(exponent), ln2High)
	eLow += float64(float64(exponent) * ln2Low)
	sum, rest := quickSum(e, high)
	return quickSum(sum, rest+(eLow+low))
}
