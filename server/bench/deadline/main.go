// Command deadline measures how soon the service lets go of work whose caller's
// time has run out: each call that can take long is made with 10 ms to go, and the
// program prints, worst of the turns, how long after that its handler returned, how
// much processor time was used until then, and how much in the half second after.
//
// It prints one line a figure: name, value, bar, verdict, and exits 1 where a bar
// is missed. Run it from the top of the module: go run ./server/bench/deadline, on
// a machine with nothing else to do; on a busy one the scheduler's delays are in the
// late figures; the worked ones tell what the service would need on a quiet one.
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
		var over, worked, used time.Duration
		late := 0 // calls that did outlast their time
		for range turns {
			m, err := one(ctx, conn, c, logs)
			if err != nil {
				return false, err
			}
			if m.code == codes.DeadlineExceeded || m.code == codes.Canceled {
				late++
			}
			over, worked, used = max(over, m.took-allowance), max(worked, m.worked), max(used, m.after)
		}
		if before == 0 {
			before = runtime.NumGoroutine() // the connection's own are there now
		}
		name := path.Base(path.Dir(c.method))[len("bowroll.v1."):] + "." + path.Base(c.method)
		missed = line(name+"_late", over, bar) || missed
		missed = line(name+"_worked", worked, bar) || missed
		missed = line(name+"_used_after", used, idle) || missed
		if late == 0 {
			fmt.Printf("%-36s answered within its time every turn: it tells nothing\n", name)
		}
	}
	// A goroutine that goes on would be one more each turn.
	if left := runtime.NumGoroutine() - before; left > 2 {
		fmt.Printf("%-36s %10d\n", "goroutines_left", left)
		missed = true
	}
	return missed, nil
}

// measured is what one call took.
type measured struct {
	code   codes.Code
	took   time.Duration // by its handler, as the service logs it
	worked time.Duration // processor time from the deadline until the handler returned
	after  time.Duration // processor time in the rest after that
}

// one makes a call once.
func one(ctx context.Context, conn *grpc.ClientConn, c call, logs *observer.ObservedLogs) (m measured, err error) {
	logs.TakeAll()
	within, cancel := context.WithTimeout(ctx, allowance)
	defer cancel()
	atDeadline := make(chan time.Duration, 1)
	timer := time.AfterFunc(allowance, func() { atDeadline <- processorTime() })
	m.code = status.Code(conn.Invoke(within, c.method, c.request, c.answer))
	for logs.FilterMessage("call").Len() == 0 { // the caller leaves before the handler does
		if err := ctx.Err(); err != nil {
			return m, err
		}
		time.Sleep(time.Millisecond)
	}
	began := processorTime()
	if !timer.Stop() {
		m.worked = began - <-atDeadline
	}
	m.took, _ = logs.FilterMessage("call").All()[0].ContextMap()["took"].(time.Duration)
	time.Sleep(rest)
	m.after = processorTime() - began
	return m, ctx.Err()
}

// line prints a figure beside its bar.
func line(name string, value, bar time.Duration) (missed bool) {
	verdict := "ok"
	if value > bar {
		verdict, missed = "MISSED", true
	}
	fmt.Printf("%-36s %10.1fms   <=%-6g %s\n", name, value.Seconds()*1e3, bar.Seconds()*1e3, verdict)
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
