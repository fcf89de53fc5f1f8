// Command overload measures what becomes of calls when more are asked for than
// can be served: it finds how many computations a second one core serves, then
// asks for a tenth of that, for all of it, for twice and four times as many, at
// a fixed rate whether answers come or not. It prints one line a figure: name,
// value, bar, verdict, and exits 1 where a bar is missed.
//
// What a second of the service's processor time serves is printed beside what a
// second of the clock does: on a machine that has other things to do the former
// still tells what refusing costs.
//
// Run it from the top of the module: go run ./server/bench/overload, on a machine
// with nothing else to do. The service runs in a process of its own with
// GOMAXPROCS=1, on one core where taskset is there to say so, the load on another.
package main

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/server"
	"bowroll/server/assembly"
)

func main() {
	child := flag.Bool("child", false, "be the service")
	turn := flag.Duration("turn", 3*time.Second, "length of each load")
	flag.Parse()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	err := error(nil)
	missed := false
	if *child {
		err = serve(ctx, os.Stdin, os.Stdout)
	} else {
		missed, err = measure(ctx, *turn)
	}
	switch {
	case err != nil:
		fmt.Fprintln(os.Stderr, "overload:", err)
		os.Exit(2)
	case missed:
		os.Exit(1)
	}
}

// serve is the service, until its input closes.
func serve(ctx context.Context, in io.Reader, out io.Writer) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		_, _ = io.Copy(io.Discard, in)
		cancel()
	}()
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		return err
	}
	s, err := assembly.New(server.Config{
		GRPCAddress: "127.0.0.1:0", Log: zap.NewNop(), Registry: prometheus.NewRegistry(), NewID: assembly.NewID, Cores: 1,
	}, folder)
	if err != nil {
		return err
	}
	return s.Run(ctx, func(at server.Addresses) { fmt.Fprintln(out, at.GRPC) })
}

// pin keeps a process on a core; the threads that it starts stay there too.
func pin(pid int, core string) bool {
	return exec.Command("taskset", "-a", "-c", "-p", core, strconv.Itoa(pid)).Run() == nil
}

// measure starts the service, loads it and prints.
func measure(ctx context.Context, turn time.Duration) (missed bool, err error) {
	self, err := os.Executable()
	if err != nil {
		return false, err
	}
	command := exec.CommandContext(ctx, self, "-child")
	command.Env = append(os.Environ(), "GOMAXPROCS=1")
	command.Stderr = os.Stderr
	stdin, err := command.StdinPipe()
	if err != nil {
		return false, err
	}
	stdout, err := command.StdoutPipe()
	if err != nil {
		return false, err
	}
	if err := command.Start(); err != nil {
		return false, err
	}
	defer func() {
		_ = stdin.Close()
		_ = command.Wait()
	}()
	if !pin(command.Process.Pid, "0") || !pin(os.Getpid(), "1") {
		fmt.Println("# not pinned: service and load share the cores")
	}
	address, err := bufio.NewReader(stdout).ReadString('\n')
	if err != nil {
		return false, err
	}
	l, err := newLoad(strings.TrimSpace(address), command.Process.Pid)
	if err != nil {
		return false, err
	}
	defer l.close()

	if _, err := l.closed(ctx, turn/3); err != nil { // warm-up
		return false, err
	}
	capacity, err := l.closed(ctx, turn)
	if err != nil {
		return false, err
	}
	calm, err := l.open(ctx, capacity/10, turn)
	if err != nil {
		return false, err
	}
	full, err := l.open(ctx, capacity, turn)
	if err != nil {
		return false, err
	}
	line := func(name string, value float64, unit string, bar float64, atLeast bool) {
		limit, verdict := "-", "-"
		if bar != 0 {
			limit, verdict = fmt.Sprintf("<=%g", bar), "ok"
			if atLeast {
				limit = fmt.Sprintf(">=%g", bar)
			}
			if atLeast && value < bar || !atLeast && value > bar {
				verdict, missed = "MISSED", true
			}
		}
		fmt.Printf("%-30s %10.4g%-4s %-8s %s\n", name, value, unit, limit, verdict)
	}
	line("capacity", capacity, "/s", 0, false)
	line("calm_p99", calm.p99*1e3, "ms", 0, false)
	line("calm_memory", calm.memory/1e6, "MB", 0, false)
	line("full_served", full.served, "/s", 0, false)
	line("full_p99", full.p99*1e3, "ms", 0, false)
	for _, times := range []float64{2, 4} {
		r, err := l.open(ctx, times*capacity, turn)
		if err != nil {
			return false, err
		}
		name := fmt.Sprintf("x%g_", times)
		line(name+"asked", r.asked, "/s", 0, false)
		line(name+"served_of_full", r.served/full.served, "", 0.8, true)
		line(name+"served_of_full_by_cpu", r.servedByCPU/full.servedByCPU, "", 0.8, true)
		line(name+"p99", r.p99*1e3, "ms", 0, false)
		line(name+"p99_of_calm", r.p99/calm.p99, "", 3, false)
		line(name+"memory_of_calm", r.memory/calm.memory, "", 2, false)
		line(name+"refused_without_retry", float64(r.bare), "", 0, false)
		line(name+"health_p99", r.health*1e3, "ms", 50, false)
	}
	return missed, nil
}
