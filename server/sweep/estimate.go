package sweep

import (
	"context"
	"runtime"
	"slices"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Rows of a part: a second or so of work, so that a part that is lost costs
// little, and files are not too many. Searching for the best firing takes many
// runs a row.
const (
	chunkRows       = 1 << 16
	chunkSearchRows = 1 << 13
)

// ChunkRows is how many rows a part of a sweep has. It depends on the spec alone.
func ChunkRows(s *bowrollv1.SweepSpec) int {
	const best = bowrollv1.FiringMode_FIRING_MODE_BEST
	searches := s.GetCase().GetBoosters().GetFiring().GetMode() == best ||
		slices.ContainsFunc(s.GetAxes(), func(a *bowrollv1.SweepAxis) bool { return slices.Contains(a.GetWords(), best.String()) })
	if searches {
		return chunkSearchRows
	}
	return chunkRows
}

// Chunks is how many parts rows are cut into.
func Chunks(rows, chunkRows int) int { return (rows + chunkRows - 1) / chunkRows }

// A probe computes this many rows at most, for this long at most.
const (
	probeRows = 4096
	probeTime = 500 * time.Millisecond
)

// Measured is what a probe found.
type Measured struct {
	Rows, Refused int
	CPU           time.Duration
	Bytes         int
	// Fault is why the first refused row was.
	Fault string
}

// Probe computes rows spread evenly over a plan, in runs of neighbours as a worker
// meets them, and measures them.
func Probe(ctx context.Context, spec *bowrollv1.SweepSpec, plan *Plan, kernel Kernel) (*Measured, error) {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	const together = 256
	runs := max(1, min(probeRows/together, plan.Rows/together))
	block, inputs := newBlock(min(plan.Rows, runs*together), kept(spec)), make([]float64, len(plan.Axes))
	began, from := time.Now(), threadTime()
	m := &Measured{}
	var row Row
	for m.Rows < block.Rows && (m.Rows == 0 || time.Since(began) < probeTime) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		first := m.Rows / together * (plan.Rows / runs)
		plan.Inputs(min(first+m.Rows%together, plan.Rows-1), inputs)
		if err := kernel.Row(inputs, &row); err != nil {
			return nil, err
		}
		if row.Fault != "" {
			if m.Refused++; m.Fault == "" {
				m.Fault = row.Fault
			}
		}
		block.put(m.Rows, &row)
		m.Rows++
	}
	m.CPU = threadTime() - from
	packed, err := block.encode()
	m.Bytes = len(packed)
	return m, err
}
