// Command sweep measures how many rows of a sweep one, two and four bowrolld
// compute over one PostgreSQL, each with one worker and one core's worth of Go,
// and prints one line a figure: name, value, bar, verdict. It exits 1 where a bar
// is missed.
//
// Run it from the top of the module, on a machine with nothing else to do, with
// the address of a PostgreSQL in BOWROLL_TEST_POSTGRES: go run
// ./server/bench/sweep. Each number of services takes turns with the others; the
// best turn of each counts. More services than cores cannot be quicker than cores
// are, and must not be slower: the bars follow the cores of the machine.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
)

func main() {
	rows := flag.Int("rows", 1_500_000, "rows of a sweep")
	rounds := flag.Int("rounds", 3, "turns that each number of services takes")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	missed, err := run(ctx, os.Getenv("BOWROLL_TEST_POSTGRES"), *rows, *rounds)
	if err != nil {
		fmt.Fprintln(os.Stderr, "sweep:", err)
		os.Exit(2)
	}
	if missed {
		os.Exit(1)
	}
}

// turn is what one turn found.
type turn struct{ rowsPerSecond, cpuPerRow float64 }

func run(ctx context.Context, address string, rows, rounds int) (missed bool, err error) {
	if address == "" {
		return false, errors.New("no PostgreSQL: set BOWROLL_TEST_POSTGRES to an address like postgres://user@127.0.0.1/database")
	}
	folder, err := os.MkdirTemp("", "bowroll-sweep")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(folder)
	program := filepath.Join(folder, "bowrolld")
	if out, err := exec.CommandContext(ctx, "go", "build", "-o", program, "./server/cmd/bowrolld").CombinedOutput(); err != nil {
		return false, fmt.Errorf("bowrolld cannot be built: %w\n%s", err, out)
	}
	numbers := []int{1, 2, 4}
	best := map[int]turn{}
	for round := range rounds {
		for _, n := range numbers {
			fmt.Fprintf(os.Stderr, "\rround %d of %d: %d services ", round+1, rounds, n)
			found, err := measure(ctx, program, address, n, rows)
			if err != nil {
				return false, fmt.Errorf("%d services: %w", n, err)
			}
			if found.rowsPerSecond > best[n].rowsPerSecond {
				best[n] = found
			}
		}
	}
	fmt.Fprintln(os.Stderr)
	one := best[1]
	for _, n := range numbers {
		useful := float64(min(n, runtime.NumCPU()))
		ratio, bar := best[n].rowsPerSecond/one.rowsPerSecond, 0.8*useful
		verdict := "-"
		if n > 1 {
			if verdict = "ok"; ratio < bar {
				verdict, missed = "MISSED", true
			}
			fmt.Printf("%-32s %10.4g %-8s %s\n", fmt.Sprintf("ratio-%d-to-1", n), ratio, fmt.Sprintf(">=%g", bar), verdict)
		}
		fmt.Printf("%-32s %10.4g %-8s -\n", fmt.Sprintf("rows-per-second-%d", n), best[n].rowsPerSecond, "-")
		cost, verdict := best[n].cpuPerRow/one.cpuPerRow, "-"
		if n > 1 {
			if verdict = "ok"; cost > 1.25 {
				verdict, missed = "MISSED", true
			}
			fmt.Printf("%-32s %10.4g %-8s %s\n", fmt.Sprintf("cpu-per-row-%d-to-1", n), cost, "<=1.25", verdict)
		}
		fmt.Printf("%-32s %10.4g %-8s -\n", fmt.Sprintf("cpu-us-per-row-%d", n), best[n].cpuPerRow*1e6, "-")
	}
	return missed, nil
}
