package allocate

import (
	"fmt"
	"math"
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
	lg := func(x int) float64 { v, _ := math.Lgamma(float64(x + 1)); return v }
	sum := 0.0
	for d := 0; d <= r; d++ {
		sum += elementary.Exp(lg(n) - lg(d) - lg(n-d) + float64(float64(d)*elementary.Log(q)) + float64(float64(n-d)*elementary.Log1p(-q)))
	}
	return sum
}
