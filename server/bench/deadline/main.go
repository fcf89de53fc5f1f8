// Command deadline measures how soon the service lets go of work whose caller's
// time has run out: each call that can take long is made with 10 ms to go, and the
// program prints how long after that its handler returned, worst of the turns, and
// how much processor time the service still used in the half second after.
//
// It prints one line a figure: name, value, bar, verdict, and exits 1 where a bar
// is missed. Run it from the top of the module: go run ./server/bench/deadline, on
// a machine with nothing else to do; on a busy one the scheduler's delays are in the
// figures.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path"
	"runtime"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bowroll/server"
	"bowroll/server/assembly"
)

const (
	// allowance is how long every call is given.
	allowance = 10 * time.Millisecond
	// bar is how long after that a handler may take to return.
	bar = 20 * time.Millisecond
	// rest is how long processor time is counted after a call, and idle how much
	// of it may have been used.
	rest = 500 * time.Millisecond
	idle = 50 * time.Millisecond
)

func main() {
	turns := flag.Int("turns", 5, "times that each call is made")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	missed, err := measure(ctx, *turns)
	switch {
	case err != nil:
		fmt.Fprintln(os.Stderr, "deadline:", err)
		os.Exit(2)
	case missed:
		os.Exit(1)
	}
}

// measure makes every call and prints what it took.
func measure(ctx context.Context, turns int) (missed bool, err error) {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		return false, err
	}
	core, logs := observer.New(zap.DebugLevel)
	s, err := assembly.New(server.Config{
		Log: zap.New(core), Registry: prometheus.NewRegistry(), NewID: assembly.NewID,
		Pressure: func() time.Duration { return 0 }, // what else this machine does sheds nothing
	}, folder)
	if err != nil {
		return false, err
	}
	defer s.Close()
	conn, err := s.Connect()
	if err != nil {
		return false, err
	}
	defer conn.Close()
	work, err := calls()
	if err != nil {
		return false, err
	}
	before := 0
	for _, c := range work {
		var over, used time.Duration
		late := 0 // calls that did outlast their time
		for range turns {
			took, code, after, err := one(ctx, conn, c, logs)
			if err != nil {
				return false, err
			}
			if code == codes.DeadlineExceeded || code == codes.Canceled {
				late++
			}
			over, used = max(over, took-allowance), max(used, after)
		}
		if before == 0 {
			before = runtime.NumGoroutine() // the connection's own are there now
		}
		name := path.Base(c.method)
		missed = line(name+"_late", over, bar) || missed
		missed = line(name+"_used_after", used, idle) || missed
		if late == 0 {
			fmt.Printf("%-30s answered within its time every turn: it tells nothing\n", name)
		}
	}
	// A goroutine that goes on would be one more each turn.
	if left := runtime.NumGoroutine() - before; left > 2 {
		fmt.Printf("%-30s %10d\n", "goroutines_left", left)
		missed = true
	}
	return missed, nil
}

// one makes a call once; took is how long its handler had it, by the service's own
// log, and after the processor time used once it had returned.
func one(ctx context.Context, conn *grpc.ClientConn, c call, logs *observer.ObservedLogs) (took time.Duration, code codes.Code, after time.Duration, err error) {
	logs.TakeAll()
	within, cancel := context.WithTimeout(ctx, allowance)
	defer cancel()
	code = status.Code(conn.Invoke(within, c.method, c.request, c.answer))
	for logs.FilterMessage("call").Len() == 0 { // the caller leaves before the handler does
		if err := ctx.Err(); err != nil {
			return 0, code, 0, err
		}
		time.Sleep(time.Millisecond)
	}
	took, _ = logs.FilterMessage("call").All()[0].ContextMap()["took"].(time.Duration)
	began := processorTime()
	time.Sleep(rest)
	return took, code, processorTime() - began, ctx.Err()
}

// line prints a figure beside its bar.
func line(name string, value, bar time.Duration) (missed bool) {
	verdict := "ok"
	if value > bar {
		verdict, missed = "MISSED", true
	}
	fmt.Printf("%-30s %10.1fms   <=%-6g %s\n", name, value.Seconds()*1e3, bar.Seconds()*1e3, verdict)
	return missed
}

// processorTime is what this process has used.
func processorTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
