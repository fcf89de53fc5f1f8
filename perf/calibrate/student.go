package calibrate

import (
	"math"

	"bowroll/perf/elementary"
)

// outlierLimit is the square of a distance in standard deviations that a run of
// so many measures exceeds with a probability of 1e-3: the quantile of the
// chi-squared distribution with one to three degrees of freedom.
var outlierLimit = [4]float64{0, 10.827566170662733, 13.815510557964274, 16.266236196238133}

// studentHalf is the t that a draw of Student's distribution with so many degrees
// of freedom, at least one, is within on both sides with the given probability.
func studentHalf(freedom int, probability float64) float64 {
	low, high := 0.0, math.Pi/2
	for {
		middle := float64(0.5 * (low + high))
		if middle <= low || middle >= high {
			sine, cosine := elementary.Sincos(high)
			return math.Sqrt(float64(freedom)) * sine / cosine
		}
		if studentWithin(freedom, middle) < probability {
			low = middle
		} else {
			high = middle
		}
	}
}

// studentWithin is the probability of a draw within sqrt(freedom) tan(theta) on
// both sides (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3
// and 26.7.4).
func studentWithin(freedom int, theta float64) float64 {
	sine, cosine := elementary.Sincos(theta)
	square := float64(cosine * cosine)
	term, sum := 1.0, 0.0
	for n := 2 + freedom%2; n <= freedom; n += 2 {
		sum += term
		term = float64(term * square * float64(n-1) / float64(n))
	}
	if freedom%2 == 0 {
		return sine * sum
	}
	return 2 / math.Pi * (theta + float64(sine*cosine*sum))
}
