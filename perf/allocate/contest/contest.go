// Package contest measures the allocation: beside cbc on the same stages, and how
// many large cycles it proves in time. Cycles are generated at every tightness from
// fixed seeds.
package contest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"bowroll/perf/allocate"
	"bowroll/perf/allocate/rival"
)

// A Figure is one measured number and its bar.
type Figure struct {
	Name    string
	Value   float64
	Unit    string
	Bar     float64
	AtLeast bool   // the value must be at least the bar, else at most
	Skipped string // why it was not measured
}

// Passes says whether the bar is cleared; a skipped figure passes.
func (f *Figure) Passes() bool {
	if f.Skipped != "" {
		return true
	}
	if f.AtLeast {
		return f.Value >= f.Bar
	}
	return f.Value <= f.Bar
}

// Sizes says how much to measure.
type Sizes struct {
	Small int // cycles of 40 sorties and 6 lots
	Raced int // of those, how many cbc solves too
	Large int // cycles of 200 sorties and 20 lots
}

// Usual takes one to two minutes, nearly all of it cbc's.
var Usual = Sizes{Small: 100, Raced: 16, Large: 40}

// proveWithin is the time for one large cycle.
const proveWithin = 5 * time.Second

// Run measures. Files for the rival go to folder.
func Run(ctx context.Context, n Sizes, folder string) ([]Figure, error) {
	took, err := small(ctx, n.Small)
	if err != nil {
		return nil, err
	}
	out := []Figure{{Name: "allocate 40x6 median", Value: median(took), Unit: "ms", Bar: 20}}
	raced, err := race(ctx, n.Raced, folder)
	if err != nil {
		return nil, err
	}
	out = append(out, raced...)
	share, slow, err := large(ctx, n.Large)
	if err != nil {
		return nil, err
	}
	return append(out,
		Figure{Name: "allocate 200x20 proven in 5 s", Value: 100 * share, Unit: "%", Bar: 95, AtLeast: true},
		Figure{Name: "allocate 200x20 median", Value: slow / 1000, Unit: "s", Bar: proveWithin.Seconds()}), nil
}

func problem(k, sorties, lots int) *allocate.Problem {
	return allocate.Generate(uint64(k/len(allocate.Tightnesses)), sorties, lots, allocate.Tightnesses[k%len(allocate.Tightnesses)])
}

// small times cycles of 40 sorties, in milliseconds, proof and its check included.
func small(ctx context.Context, cycles int) ([]float64, error) {
	var took []float64
	for k := range cycles {
		p := problem(k, 40, 6)
		start := time.Now()
		r, err := allocate.Solve(ctx, p, allocate.Options{})
		took = append(took, milliseconds(time.Since(start)))
		if err != nil {
			return nil, err
		}
		if r.Status != allocate.Optimal {
			return nil, fmt.Errorf("cycle %d of 40 sorties: %v", k, r.Status)
		}
	}
	return took, nil
}

// race solves the same stages with cbc and counts values in which it does better.
func race(ctx context.Context, cycles int, folder string) ([]Figure, error) {
	ratio := Figure{Name: "allocate 40x6 against cbc", Unit: "x", Bar: 20, AtLeast: true}
	worse := Figure{Name: "allocate values unlike cbc's", Unit: "", Bar: 0}
	cbc := rival.Cbc()
	if err := cbc.Find(); err != nil {
		if !errors.Is(err, rival.ErrAbsent) {
			return nil, err
		}
		ratio.Skipped, worse.Skipped = err.Error(), err.Error()
		return []Figure{ratio, worse}, nil
	}
	var ratios []float64
	for k := range cycles {
		p := problem(k, 40, 6)
		start := time.Now()
		r, err := allocate.Solve(ctx, p, allocate.Options{})
		ours := time.Since(start)
		if err != nil {
			return nil, err
		}
		theirs := time.Duration(0)
		var earlier []int64
		for stage := range r.Levels {
			var lp bytes.Buffer
			if err := allocate.WriteLP(&lp, p, stage+1, earlier); err != nil {
				return nil, err
			}
			a, err := cbc.Solve(ctx, lp.Bytes(), folder, 30)
			if err != nil {
				return nil, err
			}
			theirs += a.Took
			if a.Decided && a.Value != r.Levels[stage].Value {
				worse.Value++
			}
			earlier = append(earlier, r.Levels[stage].Value)
		}
		ratios = append(ratios, float64(theirs)/float64(ours))
	}
	ratio.Value = median(ratios)
	return []Figure{ratio, worse}, nil
}

// large is the share of cycles of 200 sorties that are proven in time, and the
// median time in milliseconds.
func large(ctx context.Context, cycles int) (share, slow float64, err error) {
	proven := 0
	var took []float64
	for k := range cycles {
		p := problem(k, 200, 20)
		limited, cancel := context.WithTimeout(ctx, proveWithin)
		start := time.Now()
		r, err := allocate.Solve(limited, p, allocate.Options{})
		took = append(took, milliseconds(time.Since(start)))
		cancel()
		if err != nil {
			return 0, 0, err
		}
		if err := ctx.Err(); err != nil {
			return 0, 0, err
		}
		if r.Status == allocate.Optimal {
			proven++
		}
	}
	return float64(proven) / float64(max(1, cycles)), median(took), nil
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Clone(v)
	slices.Sort(v)
	return v[len(v)/2]
}
