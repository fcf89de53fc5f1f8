// Package elementary computes the elementary functions of the model so that they
// give the same bits on every processor.
//
// Those of package math do not: some are assembler on one architecture and Go on
// another, and the Go ones are compiled with fused multiply-add where the
// processor has it. Here only operations are used that IEEE 754 rounds in one
// way: sum, difference, quotient, square root, products that are rounded
// explicitly, and [math.FMA], which is exact on every architecture.
//
// The methods are the plain ones: the argument is reduced until a power series
// is short, and what decides the last digit (arguments reduced, logarithms,
// squares in an exponent) is carried as the unevaluated sum of two numbers (T. J.
// Dekker, A floating-point technique for extending the available precision,
// Numerische Mathematik 18, 1971). Results are within 1 unit of the last place of
// the exact value, the arcs within 2 and those of the normal distribution within 3.
package elementary

import "math"

// twoSum is a + b as its rounded value and what rounding took from it (D. E.
// Knuth, The Art of Computer Programming, volume 2, section 4.2.2).
func twoSum(a, b float64) (sum, rest float64) {
	sum = a + b
	part := sum - a
	return sum, (a - (sum - part)) + (b - part)
}

// quickSum is twoSum for |a| >= |b| or a = 0.
func quickSum(a, b float64) (sum, rest float64) {
	sum = a + b
	return sum, b - (sum - a)
}

// twoProduct is a b as its rounded value and what rounding took from it.
func twoProduct(a, b float64) (product, rest float64) {
	product = float64(a * b)
	return product, math.FMA(a, b, -product)
}

// series is the power series with these coefficients.
func series(x float64, coefficients []float64) (sum float64) {
	for i := len(coefficients) - 1; i >= 0; i-- {
		sum = float64(sum*x) + coefficients[i]
	}
	return sum
}
