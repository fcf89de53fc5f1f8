package elementary

import "math"

// Pow is x to the power of y for x from 0: 1 where y is 0 or x is 1, as package
// math has it at 0 and infinity, NaN for a negative x.
func Pow(x, y float64) float64 {
	switch {
	case y == 0 || x == 1:
		return 1
	case x != x || y != y || x < 0:
		return math.NaN()
	case x == 0 || math.IsInf(x, 1) || math.IsInf(y, 0):
		if (x < 1) == (y < 0) {
			return math.Inf(1)
		}
		return 0
	}
	high, low := log(x)
	product, rest := twoProduct(y, high)
	return exp(product, rest+float64(y*low))
}

// Cbrt is the cube root of x, of any sign.
func Cbrt(x float64) float64 {
	if x != x || x == 0 || math.IsInf(x, 0) {
		return x
	}
	high, low := log(math.Abs(x))
	product, rest := twoProduct(third, high)
	return math.Copysign(exp(product, rest+(float64(third*low)+float64(thirdLow*high))), x)
}

// Hypot is the square root of x^2 + y^2, +Inf where either is infinite.
func Hypot(x, y float64) float64 {
	if math.IsInf(x, 0) || math.IsInf(y, 0) {
		return math.Inf(1)
	}
	x, y = math.Abs(x), math.Abs(y)
	if x < y {
		x, y = y, x
	}
	// Far from what a number can hold, the squares would leave it.
	scale := 1.0
	switch {
	case x > 0x1p500:
		scale = 0x1p600
	case x < 0x1p-400:
		scale = 0x1p-600
	}
	if scale != 1 {
		x, y = x/scale, y/scale
	}
	return float64(scale * math.Sqrt(math.FMA(x, x, float64(y*y))))
}
