package chance

import (
	"math/rand/v2"
	"sync"
)

// A Sample is a number of independent scrambles of one low-discrepancy sequence:
// Halton points with random digits (A. B. Owen, A randomized Halton algorithm in
// R, 2017), as standard normal scores cut at three standard deviations. The same
// seed gives the same points, and the first points of a longer sample are those
// of a shorter one.
//
// A Sample is safe for concurrent use and meant to be kept: it computes its
// points once, when they are first asked for.
type Sample struct {
	seed      uint64
	scrambles int
	points    int // of each scramble

	mu      sync.Mutex
	columns []column
}

// column is one coordinate of all points, scramble after scramble.
type column struct {
	scores []float64
	bins   []uint8 // of bins, equally likely
}

// bins is into how many parts a coordinate is cut for the shares of variance.
const bins = 32

// NewSample makes a sample of so many independent scrambles of so many points
// each; at least one of both.
func NewSample(seed uint64, scrambles, points int) *Sample {
	return &Sample{seed: seed, scrambles: max(1, scrambles), points: max(1, points)}
}

// Size is the number of points in all.
func (s *Sample) Size() int { return s.scrambles * s.points }

// Scrambles is the number of independent scrambles.
func (s *Sample) Scrambles() int { return s.scrambles }

// Seed is what the points were made with.
func (s *Sample) Seed() uint64 { return s.seed }

// take gives the first n coordinates.
func (s *Sample) take(n int) []column {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n > len(s.columns) {
		s.fill(n)
	}
	return s.columns[:n]
}

// fill computes n coordinates. Those that were there come out again as they
// were, since the sequence draws its random digits coordinate by coordinate.
func (s *Sample) fill(n int) {
	fresh := make([]column, n)
	for j := range fresh {
		fresh[j] = column{scores: make([]float64, s.Size()), bins: make([]uint8, s.Size())}
	}
	points := make([][]float64, n)
	for k := range s.scrambles {
		for j := range points {
			points[j] = make([]float64, s.points)
		}
		halton(points, rand.New(rand.NewPCG(s.seed, uint64(k))))
		for j := range points {
			for i, u := range points[j] {
				at := k*s.points + i
				fresh[j].scores[at] = score(u)
				fresh[j].bins[at] = uint8(min(bins-1, int(u*bins)))
			}
		}
	}
	copy(fresh, s.columns)
	s.columns = fresh
}
