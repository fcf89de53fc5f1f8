package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
	"bowroll/server/rpc"
)

// kernels are the questions whose model alone is measured.
var kernels = map[string]func() *bowrollv1.TakeoffsComputeRequest{"plain": request, "planner": plannerRequest}

// serveKernel computes on this core, straight from the model: a line of a
// question's name and a number of computations is answered once they are done.
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
		for range count {
			if err := ready[name].Compute(); err != nil {
				return err
			}
		}
		fmt.Fprintln(out, "done")
	}
	return lines.Err()
}

// kernelSeconds is the processor time of one computation of a question by the model
// alone, which on a core of its own is the time that it takes.
func kernelSeconds(kernel *child, name string, length time.Duration) (float64, error) {
	ask := func(count int) (seconds float64, err error) {
		before, err := kernel.cpu()
		if err != nil {
			return 0, err
		}
		if _, err = fmt.Fprintln(kernel.in, name, count); err != nil {
			return 0, err
		}
		if _, err = kernel.out.ReadString('\n'); err != nil {
			return 0, err
		}
		after, err := kernel.cpu()
		return after - before, err
	}
	const probe = 500
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
