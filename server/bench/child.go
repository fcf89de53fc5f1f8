package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime/pprof"
	"strconv"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/server"
	"bowroll/server/assembly"
)

// child is a contestant in a process of its own.
type child struct {
	command *exec.Cmd
	in      io.WriteCloser
	out     *bufio.Reader
	// grpc and http are where it listens; empty for the kernel.
	grpc, http string
}

// startChild starts this program again as a contestant and waits until it is
// ready. A profile names a file for its use of the processor.
func startChild(ctx context.Context, kind, profile string) (*child, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := &child{command: exec.CommandContext(ctx, self, "-child", kind, "-profile", profile)}
	// As bowrolld sets it for itself; every contestant gets the same.
	c.command.Env = append(os.Environ(), "GOMAXPROCS=1", "GOGC=400")
	c.command.Stderr = os.Stderr
	if c.in, err = c.command.StdinPipe(); err != nil {
		return nil, err
	}
	out, err := c.command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	c.out = bufio.NewReader(out)
	if err := c.command.Start(); err != nil {
		return nil, err
	}
	line, err := c.out.ReadString('\n')
	if err != nil {
		c.stop()
		return nil, fmt.Errorf("the %s did not start: %w", kind, err)
	}
	c.grpc, c.http, _ = strings.Cut(strings.TrimSpace(line), " ")
	return c, nil
}

// stop ends the process, which serves until its input closes.
func (c *child) stop() {
	_ = c.in.Close()
	_ = c.command.Wait()
}

// cpu is the processor time that the process has used, in seconds.
func (c *child) cpu() (float64, error) {
	tasks, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", c.command.Process.Pid))
	if err != nil {
		return 0, err
	}
	total := 0.0
	for _, task := range tasks {
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%s/schedstat", c.command.Process.Pid, task.Name()))
		if err != nil {
			continue // the thread has ended
		}
		first, _, _ := strings.Cut(string(text), " ")
		nanoseconds, err := strconv.ParseFloat(first, 64)
		if err != nil {
			return 0, err
		}
		total += nanoseconds / 1e9
	}
	return total, nil
}

// beChild is a contestant until its input closes.
func beChild(ctx context.Context, kind, profile string, in io.Reader, out io.Writer) error {
	_ = pin(serverCore) // the parent says where that is not possible
	if profile != "" {
		file, err := os.Create(profile)
		if err != nil {
			return err
		}
		defer file.Close()
		if err := pprof.StartCPUProfile(file); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	if kind == "kernel" {
		return serveKernel(in, out)
	}
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
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0",
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), NewID: assembly.NewID, Cores: 1,
		// More callers than a core serves at once are what saturates it. That limits
		// follow the load and refuse some of them is measured in bench/overload.
		Pressure: func() time.Duration { return 0 },
	}, folder)
	if err != nil {
		return err
	}
	if kind == "service" {
		return s.Run(ctx, func(at server.Addresses) { fmt.Fprintln(out, at.GRPC, at.HTTP) })
	}
	e, err := newEcho(ctx, s)
	if err := errors.Join(err, s.Close()); err != nil {
		return err
	}
	return e.serve(ctx, kind == "stock", out)
}
