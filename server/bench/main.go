// Command bench measures the service beside a bare echo of the same message
// sizes, in the same run, and prints one line a figure: name, value, bar,
// verdict. It exits 1 where a bar is missed.
//
// Run it from the top of the module: go run ./server/bench. Every contestant runs
// in a process of its own, pinned to one core with GOMAXPROCS=1 and the same
// settings of the garbage collector, the load on another core; where the system
// cannot pin, the figures say so and swing more. Contestants take turns and the
// median of the ratios of a round counts. The echo has the transport options and
// the gateway of the service, so that what is compared is the service and not the
// library; the stock echo has both libraries as they come, the floor that any
// service stands on.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"runtime"
	"slices"
	"strings"
	"time"
)

func main() {
	var p plan
	kind := flag.String("child", "", "be this contestant instead: service, echo, stock or kernel")
	profile := flag.String("profile", "", "write the service's use of the processor to this file, for go tool pprof")
	only := flag.String("only", "", "measure only these, of plan,unary,steady,json,stream")
	flag.IntVar(&p.callers, "callers", 64, "callers of unary calls at once")
	flag.IntVar(&p.webCallers, "web-callers", 64, "callers over JSON at once")
	flag.Float64Var(&p.steadyRate, "rate", 5000, "calls a second at a steady rate")
	flag.IntVar(&p.rounds, "rounds", 7, "turns that each contestant takes")
	flag.DurationVar(&p.turn, "turn", time.Second, "length of a turn")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if *kind != "" {
		if err := beChild(ctx, *kind, *profile, os.Stdin, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, "bench:", err)
			os.Exit(2)
		}
		return
	}
	missed, err := run(ctx, p, *profile, func(part string) bool {
		return *only == "" || slices.Contains(strings.Split(*only, ","), part)
	})
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
	callers, webCallers, rounds int
	steadyRate                  float64
	turn                        time.Duration
}

// ring holds the contestants.
type ring struct {
	service, echo *child
	stock         *child // the echo on gRPC and the gateway as the libraries come
	kernel        *child // the model with nothing around it
}

// run prints every figure that is wanted as soon as it is known and tells whether
// a bar was missed.
func run(ctx context.Context, p plan, profile string, wanted func(part string) bool) (missed bool, err error) {
	show := func(figures []figure) {
		for _, f := range figures {
			f.print(os.Stdout)
			missed = missed || !f.passes()
		}
	}
	if wanted("plan") {
		// Plans are held to their bars on every core, so before this process is put
		// on one.
		figures, err := plans(ctx)
		if err != nil {
			return false, err
		}
		show(figures)
	}
	if pin(loadCore) != nil {
		fmt.Println("# not pinned: contestants and load share the cores")
	}
	runtime.GOMAXPROCS(1)
	var r ring
	for kind, c := range map[string]**child{"service": &r.service, "echo": &r.echo, "stock": &r.stock, "kernel": &r.kernel} {
		file := ""
		if kind == "service" {
			file = profile
		}
		if *c, err = startChild(ctx, kind, file); err != nil {
			return missed, err
		}
		defer (*c).stop()
	}
	for _, part := range []struct {
		name    string
		measure func(context.Context, *ring, plan) ([]figure, error)
	}{{"unary", unary}, {"steady", steady}, {"json", web}, {"stream", stream}} {
		if !wanted(part.name) {
			continue
		}
		figures, err := part.measure(ctx, &r, p)
		if err != nil {
			return missed, fmt.Errorf("%s: %w", part.name, err)
		}
		show(figures)
	}
	return missed, nil
}
