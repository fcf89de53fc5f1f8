package main

import (
	"context"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// turn is what one contestant did while it was loaded.
type turn struct{ perSecond, cpuMicroseconds float64 }

// caller asks once and waits for the answer.
type caller func(context.Context) error

// load has so many callers ask c again as soon as they have an answer, for so
// long. Each caller comes from newCaller and is warm before the clock runs.
func load(ctx context.Context, c *child, callers int, length time.Duration, newCaller func() (caller, error)) (turn, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	asks := make([]caller, callers)
	for i := range asks {
		var err error
		if asks[i], err = newCaller(); err == nil {
			err = asks[i](ctx)
		}
		if err != nil {
			return turn{}, err
		}
	}
	before, err := c.cpu()
	if err != nil {
		return turn{}, err
	}
	began := time.Now()
	ends := began.Add(length)
	var calls atomic.Int64
	var all sync.WaitGroup
	for _, ask := range asks {
		all.Go(func() {
			for time.Now().Before(ends) {
				if err := ask(ctx); err != nil {
					cancel(err)
					return
				}
				calls.Add(1)
			}
		})
	}
	all.Wait()
	took := time.Since(began).Seconds()
	if err := context.Cause(ctx); err != nil {
		return turn{}, err
	}
	after, err := c.cpu()
	n := float64(calls.Load())
	return turn{perSecond: n / took, cpuMicroseconds: (after - before) / n * 1e6}, err
}

// inTurns lets contestants take so many turns each, one after the other, after
// one that warms them up, and gives each one's turns.
func inTurns[T any](rounds int, contestants ...func() (T, error)) ([][]T, error) {
	all := make([][]T, len(contestants))
	for round := range rounds + 1 {
		for i, contestant := range contestants {
			one, err := contestant()
			if err != nil {
				return nil, err
			}
			if round > 0 {
				all[i] = append(all[i], one)
			}
		}
	}
	return all, nil
}

// middle is the median of what of gives for every round.
func middle(rounds int, of func(round int) float64) float64 {
	values := make([]float64, rounds)
	for i := range values {
		values[i] = of(i)
	}
	return median(values)
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}
