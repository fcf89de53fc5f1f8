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
// coordinates once, when they are first asked for.
type Sample struct {
	seed      uint64
	scrambles int
	points    int // of each scramble

	mu      sync.Mutex
	columns []column
	random  []*rand.Rand // of each scramble, where its next coordinate begins
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

// take gives the first n coordinates. It computes those that are missing, unless
// ended tells that nobody waits for them any more, and keeps those that are done.
func (s *Sample) take(ended func() error, n int) ([]column, error) {
	for {
		if columns, ok := s.first(n); ok {
			return columns, nil
		}
		if err := ended(); err != nil {
			return nil, err
		}
		s.addOne(n)
	}
}

// first is the first n coordinates, where they are all there.
func (s *Sample) first(n int) ([]column, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n > len(s.columns) {
		return nil, false
	}
	return s.columns[:n:n], true
}

// addOne computes one more coordinate where there are fewer than n.
func (s *Sample) addOne(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n <= len(s.columns) {
		return
	}
	if s.random == nil {
		for k := range s.scrambles {
			s.random = append(s.random, rand.New(rand.NewPCG(s.seed, uint64(k))))
		}
	}
	base := primes(len(s.columns) + 1)[len(s.columns)]
	c := column{scores: make([]float64, s.Size()), bins: make([]uint8, s.Size())}
	points := make([]float64, s.points)
	for k, random := range s.random {
		halton(points, base, random)
		for i, u := range points {
			at := k*s.points + i
			c.scores[at] = score(u)
			c.bins[at] = uint8(min(bins-1, int(u*bins)))
		}
	}
	s.columns = append(s.columns, c)
}
