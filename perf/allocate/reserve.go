package allocate

import (
	"fmt"
	"sort"

	"bowroll/perf/elementary"
)

// mostReserved bounds the sum in ReserveFor to a fraction of a second.
const mostReserved = 100_000

// ReserveFor is the least number of spare units r such that, of units+r units of
// which each is a dud with the given probability, independently, at least units
// work with the given confidence:
//
//	P(duds among units+r <= r) = sum for d = 0..r of C(units+r, d) q^d (1-q)^(units+r-d) >= confidence,
//
// the lower tail of the binomial distribution. It errs where the figures are
// impossible or more than units spares would not be enough.
func ReserveFor(units int, dudProbability, confidence float64) (int, error) {
	switch {
	case units < 0 || units > mostReserved:
		return 0, fmt.Errorf("units is %d: must be from 0 to %d", units, mostReserved)
	case !(dudProbability >= 0 && dudProbability < 1):
		return 0, fmt.Errorf("dud probability is %v: must be from 0 to below 1", dudProbability)
	case !(confidence > 0 && confidence < 1):
		return 0, fmt.Errorf("confidence is %v: must be between 0 and 1", confidence)
	}
	if units == 0 || dudProbability == 0 {
		return 0, nil
	}
	// One spare more never lowers the chance, so halving finds the least.
	enough := func(r int) bool { return lowerTail(units+r, r, dudProbability) >= confidence }
	if r := sort.Search(units+11, enough); r <= units+10 {
		return r, nil
	}
	return 0, fmt.Errorf("dud probability is %v: with that, %d spares for %d units are not enough for confidence %v; the lot should not be used",
		dudProbability, units+10, units, confidence)
}

// lowerTail is P(X <= r) of a binomial X with n trials. Terms are built by their
// logarithms, so that long tails neither vanish nor overflow.
func lowerTail(n, r int, q float64) float64 {
	sum := 0.0
	for d := 0; d <= r; d++ {
		sum += elementary.Exp(logFactorial(n) - logFactorial(d) - logFactorial(n-d) + float64(float64(d)*elementary.Log(q)) + float64(float64(n-d)*elementary.Log1p(-q)))
	}
	return sum
}

// logFactorial is the natural logarithm of n!: of the product where a number
// holds it exactly, else Stirling's series, of which the next term is below 2e-17.
func logFactorial(n int) float64 {
	if n <= 18 {
		product := 1.0
		for k := 2; k <= n; k++ {
			product *= float64(k)
		}
		return elementary.Log(product)
	}
	x := float64(n)
	z := 1 / (x * x)
	series := (1./12 - float64(z*(1./360-float64(z*(1./1260-float64(z*(1./1680-float64(z*(1./1188))))))))) / x
	return float64((x+0.5)*elementary.Log(x)) - x + (0.5*logTwoPi + series)
}

const logTwoPi = 1.83787706640934548356065947281123527972279494727556683
