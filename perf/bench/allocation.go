package main

import (
	"context"

	"bowroll/perf/allocate/contest"
)

// allocation measures the allocation of units beside cbc, and on large cycles.
func allocation(ctx context.Context, _ []*nominal, folder string) ([]figure, error) {
	measured, err := contest.Run(ctx, contest.Usual, folder)
	if err != nil {
		return nil, err
	}
	figures := make([]figure, 0, len(measured))
	for _, m := range measured {
		figures = append(figures, figure{name: m.Name, value: m.Value, unit: m.Unit, bar: m.Bar, atLeast: m.AtLeast, skipped: m.Skipped})
	}
	return figures, nil
}
