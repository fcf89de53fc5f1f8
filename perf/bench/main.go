// Command bench measures the take-off model beside its rivals and prints one
// line a figure: name, value, bar, verdict. It exits 1 where a bar is missed.
//
// Run it from the top of the module: go run ./perf/bench. The rivals are the
// model's own method in C, built when there is a compiler, which must come to the
// same result to 1e-9; a plain adaptive method of order 5 in C; and SciPy's
// solve_ivp from Debian's python3-scipy, these two at the loosest tolerance that is
// right to 1e-6. A rival that is not there is skipped with the reason. Model and
// rival are measured in turns, by processor time, and the median ratio counts.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
)

func main() {
	file := flag.String("vectors", "testdata/vectors/takeoff.json", "reference vectors to take the runs from")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	missed, err := run(ctx, *file)
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(2)
	}
	if missed {
		os.Exit(1)
	}
}

// run prints every figure and tells whether a bar was missed.
func run(ctx context.Context, file string) (missed bool, err error) {
	cases, err := twoUnitRuns(file)
	if err != nil {
		return false, err
	}
	folder, err := os.MkdirTemp("", "bowroll-bench-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(folder)
	for _, measure := range []func(context.Context, []*nominal, string) ([]figure, error){
		againstC, againstSciPy, ownFigures, chances, allocation,
	} {
		figures, err := measure(ctx, cases, folder)
		if err != nil {
			return missed, err
		}
		for _, f := range figures {
			f.print(os.Stdout)
			missed = missed || f.skipped == "" && !f.passes()
		}
	}
	return missed, nil
}
