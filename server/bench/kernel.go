package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
	"bowroll/server/rpc"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// kernels are the questions whose model alone is measured.
var kernels = map[string]func() *bowrollv1.TakeoffsComputeRequest{"plain": request, "planner": plannerRequest}

// serveKernel computes on this core, straight from the model: a line of a
// question's name and a number of computations is answered by the seconds that
// they took.
func serveKernel(in io.Reader, out io.Writer) error {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		return err
	}
	screen, err := refusal.NewScreen(server.Contract()...)
	if err != nil {
		return err
	}
	snapshot, err := catalog.Load(folder, screen.Validator())
	if err != nil {
		return err
	}
	ready := map[string]*rpc.Kernel{}
	for name, ask := range kernels {
		if ready[name], err = rpc.NewKernel(screen.Validator(), snapshot, ask()); err != nil {
			return err
		}
	}
	fmt.Fprintln(out, "ready")
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		var name string
		var count int
		if _, err := fmt.Sscan(lines.Text(), &name, &count); err != nil {
			return err
		}
		began := time.Now()
		for range count {
			if err := ready[name].Compute(); err != nil {
				return err
			}
		}
		fmt.Fprintln(out, time.Since(began).Seconds())
	}
	return lines.Err()
}

// kernelSeconds is the time of one computation of a question by the model alone.
func kernelSeconds(kernel *child, name string, length time.Duration) (float64, error) {
	ask := func(count int) (seconds float64, err error) {
		if _, err = fmt.Fprintln(kernel.in, name, count); err != nil {
			return 0, err
		}
		line, err := kernel.out.ReadString('\n')
		if err == nil {
			_, err = fmt.Sscan(strings.TrimSpace(line), &seconds)
		}
		return seconds, err
	}
	const probe = 50
	took, err := ask(probe)
	if err != nil {
		return 0, err
	}
	if took <= 0 {
		return 0, errors.New("the kernel took no time")
	}
	count := 1 + int(probe*length.Seconds()/took)
	took, err = ask(count)
	return took / float64(count), err
}
