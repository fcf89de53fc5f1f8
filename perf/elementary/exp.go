package elementary

import "math"

// ln 2 as the sum of two numbers.
const (
	ln2High = 0.6931471805599453
	ln2Low  = 2.3190468138462996e-17
)

// Exp is e to the power of x.
func Exp(x float64) float64 { return exp(x, 0) }

// The least arguments of which the power is above, and below, what a number
// can hold.
const (
	expOverflow  = 709.782712893384
	expUnderflow = -745.1332191019412
)

// exp is e to the power of x + low.
//
// With k the nearest whole number to x/ln 2 it is 2^k e^r, |r| <= ln 2 / 2, and
// e^r is Taylor's series to r^13: what is left out is below 5e-18.
func exp(x, low float64) float64 {
	switch {
	case x != x:
		return x
	case x > expOverflow:
		return math.Inf(1)
	case x < expUnderflow:
		return 0
	}
	k := math.Floor(float64(x*(1/math.Ln2)) + 0.5)
	r := math.FMA(-k, ln2High, x) // exact: both are whole multiples of 2^-54, or k is 0
	low -= float64(k * ln2Low)

	// Two chains, of the even and of the odd terms, are sooner done than one.
	z := float64(r * r)
	even := 1. / 479001600
	even = float64(even*z) + 1./3628800
	even = float64(even*z) + 1./40320
	even = float64(even*z) + 1./720
	even = float64(even*z) + 1./24
	even = float64(even*z) + 1./2
	odd := 1. / 6227020800
	odd = float64(odd*z) + 1./39916800
	odd = float64(odd*z) + 1./362880
	odd = float64(odd*z) + 1./5040
	odd = float64(odd*z) + 1./120
	odd = float64(odd*z) + 1./6
	curved := float64(z * (even + float64(r*odd)))

	power, rest := quickSum(1, r)
	power += rest + (curved + float64(low*(power+curved)))
	return scaled(power, int(k))
}

// scaled is x 2^k for x from 0.5 to 2.
func scaled(x float64, k int) float64 {
	if k < -1021 || k > 1022 {
		return math.Ldexp(x, k)
	}
	return float64(x * math.Float64frombits(uint64(k+1023)<<52))
}
