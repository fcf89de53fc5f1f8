// Command bench measures the service beside a bare echo of the same message
// sizes, in the same run, and prints one line a figure: name, value, bar,
// verdict. It exits 1 where a bar is missed.
//
// Run it from the top of the module: go run ./server/bench. Service and echo
// run in processes of their own, pinned to one core with GOMAXPROCS=1, the load
// on another; where the system cannot pin, the figures say so and swing more.
// Both are measured in turns and the median of the ratios counts.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"
)

func main() {
	child := flag.String("child", "", "run as this server instead: service or echo")
	callers := flag.Int("callers", 64, "callers at once")
	rounds := flag.Int("rounds", 5, "turns that service and echo take")
	turn := flag.Duration("turn", time.Second, "length of a turn")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if *child != "" {
		if err := serveChild(ctx, *child, os.Stdin, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(2)
		}
		return
	}
	missed, err := run(ctx, plan{callers: *callers, rounds: *rounds, turn: *turn})
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(2)
	}
	if missed {
		os.Exit(1)
	}
}

// plan is how long and how hard is measured.
type plan struct {
	callers, rounds int
	turn            time.Duration
}

// run prints every figure and tells whether a bar was missed.
func run(ctx context.Context, p plan) (missed bool, err error) {
	// Plans are held to their bars on every core, so before this process is put
	// on one.
	whole, err := plans(ctx)
	if err != nil {
		return false, err
	}
	pinned := pin(loadCore) == nil
	service, err := startChild(ctx, "service")
	if err != nil {
		return false, err
	}
	defer service.stop()
	echo, err := startChild(ctx, "echo")
	if err != nil {
		return false, err
	}
	defer echo.stop()
	figures, err := againstEcho(ctx, service, echo, p)
	if err != nil {
		return false, err
	}
	figures = append(figures, whole...)
	if !pinned {
		fmt.Println("# not pinned: service, echo and load share the cores")
	}
	for _, f := range figures {
		f.print(os.Stdout)
		missed = missed || !f.passes()
	}
	return missed, nil
}
