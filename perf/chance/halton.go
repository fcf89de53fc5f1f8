package chance

import "math/rand/v2"

// halton fills points with one coordinate of a Halton sequence in random digits
// (A. B. Owen, A randomized Halton algorithm in R, 2017): in base b, the
// coordinate's prime, digit d of a point's number becomes what a permutation of
// its own makes of it. Digits below the last of a number are drawn too, so that
// points are anywhere in their cells. The coordinates of a sequence draw one after
// the other from the same source.
func halton(points []float64, base int, random *rand.Rand) {
	clear(points)
	place := 1
	weight := 1 / float64(base)
	for 1-weight < 1 {
		digits := random.Perm(base)
		// From here on every point's number has the digit 0.
		beyond := float64(float64(digits[0]) * weight)
		for i := range points {
			if place >= len(points) {
				points[i] += beyond
				continue
			}
			points[i] += float64(float64(digits[i/place%base]) * weight)
		}
		place *= base
		weight /= float64(base)
	}
}

// primes are the first n.
func primes(n int) []int {
	list := make([]int, 0, n)
search:
	for candidate := 2; len(list) < n; candidate++ {
		for _, p := range list {
			if candidate%p == 0 {
				continue search
			}
		}
		list = append(list, candidate)
	}
	return list
}
