package takeoff

import "math"

// lastFit finds the boundary between low, where margin >= 0, and high, where it
// is below zero or -Inf, to within tolerance, and returns the side that fits.
//
// It is regula falsi (Illinois variant) kept honest by bisection, which also
// takes over where an end is infinite, as it is where there is no lift-off.
func lastFit(margin func(x float64) float64, low, high, atLow, atHigh, tolerance float64) float64 {
	kept := 0
	for i := 0; i < 200 && math.Abs(high-low) > tolerance; i++ {
		x := low + float64(0.5*(high-low))
		if !math.IsInf(atLow, 0) && !math.IsInf(atHigh, 0) && i%4 != 3 {
			if y := high - atHigh*(high-low)/(atHigh-atLow); (y-low)*(high-y) > 0 {
				x = y
				// Aim a little past the root, so that the bracket closes from
				// both sides.
				nudge := math.Copysign(0.4*tolerance, high-low)
				if kept < 0 {
					nudge = -nudge
				}
				if z := x + nudge; (z-low)*(high-z) > 0 {
					x = z
				}
			}
		}
		if x == low || x == high {
			break
		}
		if at := margin(x); at >= 0 {
			low, atLow = x, at
			if kept == 1 {
				atHigh /= 2
			}
			kept = 1
		} else {
			high, atHigh = x, at
			if kept == -1 {
				atLow /= 2
			}
			kept = -1
		}
	}
	return low
}

// least narrows down a minimum of f, which may be +Inf, between low and high to
// within tolerance by golden section: it keeps its rate at the kink that the
// run has where burn-out meets lift-off.
func least(f func(x float64) float64, low, high, tolerance float64) (x, value float64) {
	const golden = 0.6180339887498949
	x1, x2 := high-float64(golden*(high-low)), low+float64(golden*(high-low))
	f1, f2 := f(x1), f(x2)
	for range 200 {
		if high-low <= tolerance {
			break
		}
		if f1 <= f2 {
			high, x2, f2 = x2, x1, f1
			x1 = high - float64(golden*(high-low))
			f1 = f(x1)
		} else {
			low, x1, f1 = x1, x2, f2
			x2 = low + float64(golden*(high-low))
			f2 = f(x2)
		}
	}
	if f1 <= f2 {
		return x1, f1
	}
	return x2, f2
}
