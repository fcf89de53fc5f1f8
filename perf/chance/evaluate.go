package chance

import (
	"context"
	"math"
	"sync"
	"sync/atomic"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// A Question is what chances are asked about.
type Question struct {
	Firing     takeoff.Firing
	AvailableM float64
	Percentile float64 // beside the median, e.g. 0.95
}

// A Result is what a sample says.
type Result struct {
	Samples   int
	Scrambles int
	Seed      uint64

	// Probability of lift-off and rotation inside the run available.
	Probability   float64
	StandardError float64 // from the scrambles

	// The run, +Inf where so many draws do not lift off.
	P50M        float64
	PercentileM float64
	P99M        float64

	// Of the draws that lift off.
	MeanM      float64
	SigmaM     float64
	NoLiftoff  int // draws that do not
	Shares     []Share
	Unassigned float64 // share of variance that no source has alone
}

// A Share is how much of the variance of the run one source explains alone
// (the first-order index of Sobol).
type Share struct {
	Source Source
	Share  float64
}

// Evaluate samples a case on so many goroutines (at least one). It stops with
// the context's error when that ends; what it returns does not depend on the
// number of goroutines.
func Evaluate(ctx context.Context, c *Case, q Question, sample *Sample, workers int) (Result, error) {
	if err := c.Validate(); err != nil {
		return Result{}, err
	}
	table, err := sample.take(ctx.Err, c.columns())
	if err != nil {
		return Result{}, err
	}
	runs := make([]float64, sample.Size())
	if err := runAll(ctx, c, q.Firing, table, runs, workers); err != nil {
		return Result{}, err
	}
	return summarise(c, q, sample, table, runs), nil
}

// block is how many draws are computed between looks at the context.
const block = 128

// runAll computes the run of every draw.
func runAll(ctx context.Context, c *Case, f takeoff.Firing, table []column, runs []float64, workers int) error {
	blocks := (len(runs) + block - 1) / block
	var next atomic.Int64
	o := c.odds()
	work := func() {
		var d draw
		var schedule booster.Schedule
		var at int
		z := func(column int) float64 { return table[column].scores[at] }
		for ctx.Err() == nil {
			b := int(next.Add(1)) - 1
			if b >= blocks {
				return
			}
			for at = b * block; at < min(len(runs), (b+1)*block); at++ {
				d.set(&o, z)
				runs[at] = d.run(f, &schedule)
			}
		}
	}
	workers = min(workers, blocks)
	if workers <= 1 {
		work()
		return ctx.Err()
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(work)
	}
	wg.Wait()
	return ctx.Err()
}

func summarise(c *Case, q Question, sample *Sample, table []column, runs []float64) Result {
	result := Result{Samples: len(runs), Scrambles: sample.scrambles, Seed: sample.seed}
	var sum, square float64
	for k := range sample.scrambles {
		inside := 0
		for _, run := range runs[k*sample.points : (k+1)*sample.points] {
			if run <= q.AvailableM {
				inside++
			}
		}
		p := float64(inside) / float64(sample.points)
		sum += p
		square += float64(p * p)
	}
	n := float64(sample.scrambles)
	result.Probability = sum / n
	if n > 1 {
		result.StandardError = math.Sqrt(max(0, square-sum*sum/n) / (n - 1) / n)
	}
	result.shares(c, table, runs)
	sorted := append([]float64(nil), runs...)
	result.P50M = percentile(sorted, 0.5)
	result.PercentileM = percentile(sorted, q.Percentile)
	result.P99M = percentile(sorted, 0.99)
	return result
}
