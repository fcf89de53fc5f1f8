package sweep

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"runtime"
	"time"

	"github.com/riverqueue/river"
	"go.uber.org/zap"
	"google.golang.org/protobuf/proto"

	"bowroll/perf"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// A Computer prepares sweeps for computing. It is safe for use by many
// goroutines.
type Computer interface {
	// Prepare makes a kernel for rows of a spec, with the revision of the catalog
	// that is pinned.
	Prepare(ctx context.Context, spec *bowrollv1.SweepSpec, plan *Plan, catalogRevision string) (Kernel, error)
}

// A Kernel computes rows. It is used by one goroutine at a time.
type Kernel interface {
	// Row computes the row with these inputs. That it is refused is a result; an
	// error is the program's own fault.
	Row(inputs []float64, into *Row) error
}

// Desk keeps sweeps and computes them.
type Desk struct {
	store    store.Store
	queue    queue
	results  Results
	computer Computer
	now      func() time.Time
	metrics  *Metrics
}

// NewDesk returns the desk over a store, which has a job queue.
func NewDesk(kept store.Store, computer Computer, now func() time.Time) (*Desk, error) {
	q, results, err := queueOf(kept)
	if err != nil {
		return nil, err
	}
	return &Desk{store: kept, queue: q, results: results, computer: computer, now: now, metrics: NewMetrics()}, nil
}

// Metrics are what the desk counts.
func (d *Desk) Metrics() *Metrics { return d.metrics }

// Enqueue queues every part of a sweep in the transaction that keeps it.
func (d *Desk) Enqueue(ctx context.Context, tx store.Tx, s store.Sweep) error {
	jobs := make([]job, s.Chunks)
	for i := range jobs {
		jobs[i] = job{Site: s.Site, Sweep: s.ID, Digest: s.RequestDigest, Made: store.Micros(s.CreateTime), Chunk: int64(i)}
	}
	return d.queue.insert(ctx, tx, jobs)
}

// Remove removes the results of a sweep that was deleted.
func (d *Desk) Remove(ctx context.Context, s store.Sweep) error {
	return d.results.remove(ctx, keyOf(s, 0))
}

// DefaultRescue is after how long the part of a worker that went silent goes to
// another.
const DefaultRescue = 3 * time.Minute

// Start computes parts, as many at once as workers says, until stop is called.
// What is in hand then is computed by whoever comes next.
func (d *Desk) Start(ctx context.Context, workers int, rescue time.Duration, log *zap.Logger) (stop func(context.Context) error, err error) {
	return d.queue.run(ctx, running{workers: workers, rescue: rescue, log: slogOver(log)}, func(ctx context.Context, j job, attempt int) error {
		err := d.guarded(ctx, j)
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil && !errors.Is(ctx.Err(), context.DeadlineExceeded):
			return river.JobSnooze(0) // the service is stopping; this is no fault of the part
		case store.Is(err, store.Unavailable) || store.Is(err, store.Full) || store.Is(err, store.Changed):
			log.Warn("a part of a sweep could not be kept; trying again", zap.String("sweep", j.Sweep), zap.Int64("chunk", j.Chunk), zap.Error(err))
			return river.JobSnooze(2 * time.Second)
		case attempt < mostErrors:
			return err
		}
		return errors.Join(err, d.fail(ctx, j, fmt.Sprintf("part %d could not be computed: %v", j.Chunk, err)))
	})
}

// guarded computes a part; a panic in it is an error.
func (d *Desk) guarded(ctx context.Context, j job) (err error) {
	defer func() {
		if cause := recover(); cause != nil {
			err = fmt.Errorf("the computation failed: %v", cause)
		}
	}()
	return d.work(ctx, j)
}

// read reads the sweep of a job; go on is false where nothing is to be done.
func (d *Desk) read(ctx context.Context, j job) (s store.Sweep, goOn bool, err error) {
	err = d.store.View(ctx, j.Site, func(ctx context.Context, r store.Reader) error {
		s, err = r.Sweep(ctx, j.Sweep)
		return err
	})
	if store.Is(err, store.NotFound) || err == nil && !j.isOf(s) {
		// It was deleted. What a worker put since, nobody else would ever remove.
		return s, false, d.results.remove(ctx, j.key())
	}
	return s, err == nil && !s.State.Ended(), err
}

// work computes a part, keeps it and counts it.
func (d *Desk) work(ctx context.Context, j job) error {
	s, goOn, err := d.read(ctx, j)
	if err != nil || !goOn {
		return err
	}
	if s.ModelVersion != perf.ModelVersion {
		return d.fail(ctx, j, fmt.Sprintf("it is pinned to model %s and this service has %s: create it anew, or start the service that it was created with", s.ModelVersion, perf.ModelVersion))
	}
	block, cpu, err := d.compute(ctx, j, s)
	if err != nil || block == nil {
		return err
	}
	body, err := block.encode()
	if err != nil {
		return err
	}
	if err := d.results.put(ctx, j.key(), body); err != nil {
		return err
	}
	refused, goes := block.counts()
	first, err := d.finish(ctx, j, store.SweepChunk{
		Chunk: j.Chunk, Rows: int64(block.Rows), Refused: refused, Goes: goes,
		Bytes: int64(len(body)), Sum: sha256.Sum256(body), CPUMicros: cpu.Microseconds(),
	})
	if err != nil {
		return err
	}
	if first {
		d.metrics.done(block.Rows, cpu)
		return nil
	}
	_, _, err = d.read(ctx, j) // deleted meanwhile, it takes these results along
	return err
}

const (
	// yieldEvery is after how many rows calls that wait for a processor get it.
	yieldEvery = 64
	// lookEvery is how often a part asks whether its sweep was cancelled.
	lookEvery = 250 * time.Millisecond
)

// compute computes the rows of a part; none where the sweep has ended meanwhile.
func (d *Desk) compute(ctx context.Context, j job, s store.Sweep) (*Block, time.Duration, error) {
	runtime.LockOSThread() // the processor time is the thread's
	defer runtime.UnlockOSThread()
	began, looked := threadTime(), time.Now()
	spec := &bowrollv1.SweepSpec{}
	if err := proto.Unmarshal(s.Spec, spec); err != nil {
		return nil, 0, err
	}
	plan := NewPlan(spec)
	kernel, err := d.computer.Prepare(ctx, spec, plan, s.CatalogRevision)
	if err != nil {
		return nil, 0, err
	}
	first := j.Chunk * s.ChunkRows
	n := int(min(s.ChunkRows, s.Rows-first))
	block, inputs := newBlock(n, kept(spec)), make([]float64, len(plan.Axes))
	var row Row
	for i := range n {
		if i%yieldEvery == yieldEvery-1 {
			if err := ctx.Err(); err != nil {
				return nil, 0, err
			}
			runtime.Gosched()
			if time.Since(looked) > lookEvery {
				looked = time.Now()
				if _, goOn, err := d.read(ctx, j); err != nil || !goOn {
					return nil, 0, err
				}
			}
		}
		plan.Inputs(int(first)+i, inputs)
		if err := kernel.Row(inputs, &row); err != nil {
			return nil, 0, err
		}
		block.put(i, &row)
	}
	return block, threadTime() - began, nil
}

// finish counts a part, once, and says where the sweep stands then.
func (d *Desk) finish(ctx context.Context, j job, c store.SweepChunk) (first bool, err error) {
	now := d.now()
	_, _, err = d.store.Update(ctx, j.Site, store.Request{Time: now}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		first = false
		s, err := tx.Sweep(ctx, j.Sweep)
		if store.Is(err, store.NotFound) || err == nil && (s.State.Ended() || !j.isOf(s)) {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		if first, err = tx.FinishChunk(ctx, s.ID, c); err != nil || !first {
			return nil, err
		}
		was, state := s.Version, s.State
		if s.State == store.SweepQueued {
			s.State, s.StartTime = store.SweepRunning, now
		}
		if s.ChunksDone+1 == s.Chunks {
			s.State, s.EndTime = store.SweepDone, now
		}
		if s.State == state {
			return nil, nil
		}
		s.Version++
		return nil, tx.PutSweep(ctx, s, was)
	})
	return first, err
}

// fail ends a sweep that cannot go on.
func (d *Desk) fail(ctx context.Context, j job, reason string) error {
	now := d.now()
	_, _, err := d.store.Update(ctx, j.Site, store.Request{Time: now}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		s, err := tx.Sweep(ctx, j.Sweep)
		if err != nil || s.State.Ended() || !j.isOf(s) {
			return nil, err
		}
		was := s.Version
		s.State, s.Reason, s.EndTime, s.Version = store.SweepFailed, reason, now, was+1
		return nil, tx.PutSweep(ctx, s, was)
	})
	return err
}
