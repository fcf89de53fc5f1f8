package elementary

import "math"

// NormalDensity is the density of the standard normal distribution at z.
func NormalDensity(z float64) float64 {
	square, rest := twoProduct(z, z)
	if math.IsInf(square, 1) {
		return 0
	}
	return float64(exp(float64(-0.5*square), float64(-0.5*rest)) * (1 / rootTwoPi))
}

// NormalBelow is the probability that a standard normal draw is below z.
func NormalBelow(z float64) float64 {
	switch {
	case z != z:
		return z
	case z > 9:
		return 1
	case z > 0.7:
		return 1 - tail(z)
	case z >= -0.7:
		return 0.5 + middle(z)
	case z < -39:
		return 0
	}
	return tail(-z)
}

// NormalQuantile is the z that a standard normal draw is below with probability
// p: -Inf at 0, +Inf at 1, NaN outside.
//
// The start is a rational approximation good to 4.5e-4 (Abramowitz and Stegun,
// Handbook of Mathematical Functions, 26.2.23); each of two steps of Halley's
// method cubes what it is out by.
func NormalQuantile(p float64) float64 {
	switch {
	case !(p >= 0 && p <= 1):
		return math.NaN()
	case p == 0:
		return math.Inf(-1)
	case p == 1:
		return math.Inf(1)
	}
	beyond := min(p, 1-p)
	t := math.Sqrt(-2 * Log(beyond))
	z := (2.515517+float64(t*(0.802853+float64(t*0.010328))))/
		(1+float64(t*(1.432788+float64(t*(0.189269+float64(t*0.001308)))))) - t
	for range 2 {
		// Near the middle what is told apart is the way from there.
		off := 0.0
		if z < -0.7 {
			off = tail(-z) - beyond
		} else {
			off = middle(z) + (0.5 - beyond)
		}
		step := off / NormalDensity(z)
		z -= step / (1 + float64(0.5*float64(z*step)))
	}
	if p > 0.5 {
		return -z
	}
	return z
}

// tail is the probability of a draw above z, z >= 0.7.
//
// It is half the integral of e^(-x^2 (1+t^2))/(1+t^2) over all t, divided by pi,
// with x^2 = z^2/2. The trapezoidal rule all but converges there (F. Matta and A.
// Reichel, Uniform computation of the error function and other related
// functions, Math. Comp. 25, 1971): with steps of h/x, h = 1/2, it is within
// 1e-17 of
//
//	(h/(2 pi x)) e^(-x^2) (1 + sum over n of 2 w(n) x^2/(x^2 + n^2 h^2)) - 1/(e^(2 pi x/h) - 1)
//
// with w(n) = e^(-n^2 h^2), and the fractions are 2 w(n) less what is small for a
// large x.
func tail(z float64) float64 {
	square, rest := twoProduct(z, z)
	square, rest = float64(0.5*square), float64(0.5*rest)
	var less float64
	for n := len(trapezia) - 1; n >= 0; n-- {
		less += trapezia[n] / (square + float64(0.25*float64((n+1)*(n+1))))
	}
	whole, part := quickSum(trapeziaHigh, -less)
	part += trapeziaLow
	power := exp(-square, -rest) * (math.Sqrt2 / (4 * math.Pi)) / z
	if z <= 2*math.Sqrt2*math.Pi { // else the pole of the integrand is not crossed
		part -= 1 / (Exp(2*math.Sqrt2*math.Pi*z) - 1) / power
	}
	return float64(power*whole) + float64(power*part)
}

// trapezia are 2 w(n) n^2 h^2 for n from 1.
var trapezia = [...]float64{
	0.38940039153570244, 0.7357588823428847, 0.4742965105283895, 0.14652511110987343,
	0.024130676702846365, 0.002221376473560232, 0.00011723537610716073, 3.6011255910162917e-06,
	6.501173623501727e-08, 6.94397193248201e-10, 4.409073077970914e-12, 1.67005643777537e-14,
	3.7836839132519643e-17,
}

// 1 and all 2 w(n) together, as the sum of two numbers.
const (
	trapeziaHigh = 3.544907701811032
	trapeziaLow  = -1.0258874541193641e-16
)

// middle is the probability of a draw between 0 and z, |z| < 1, with the sign of
// z: Maclaurin's series to z^27, what is left out is below 1e-17 of it.
func middle(z float64) float64 {
	x := float64(0.5 * float64(z*z))
	first := float64(z * (1 / rootTwoPi))
	return first + float64(first*float64(x*series(x, middleSeries[:])))
}

// rootTwoPi is the square root of 2 pi.
const rootTwoPi = 2.50662827463100050241576528481104525

// middleSeries are (-1)^n/(n! (2n+1)) for n from 1.
var middleSeries = [...]float64{
	-1. / 3, 1. / (2 * 5), -1. / (6 * 7), 1. / (24 * 9), -1. / (120 * 11), 1. / (720 * 13), -1. / (5040 * 15),
	1. / (40320 * 17), -1. / (362880 * 19), 1. / (3628800 * 21), -1. / (39916800 * 23), 1. / (479001600 * 25), -1. / (6227020800 * 27),
}
