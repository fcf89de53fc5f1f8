package assembly

import (
	"context"
	"errors"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"

	"bowroll/server/sweep"
)

// SweepWorkers compute the parts of sweeps. They are handed to [New] with
// [WithSweepWorkers], and begin with Start.
type SweepWorkers struct {
	// Count is how many parts are computed at once.
	Count int
	// Rescue is after how long the part of a worker that went silent goes to
	// another; [sweep.DefaultRescue] where it is 0.
	Rescue time.Duration
	// Keep is how long sweeps are kept after they ended; for good where it is 0.
	Keep time.Duration
	Log  *zap.Logger

	desk *sweep.Desk
	stop func(context.Context) error
}

// WithSweepWorkers computes sweeps in this process.
func WithSweepWorkers(w *SweepWorkers) Option { return func(c *choice) { c.workers = w } }

// Start begins to compute. Nothing happens where there is no worker or no store.
func (w *SweepWorkers) Start(ctx context.Context) error {
	if w.desk == nil || w.Count < 1 {
		return nil
	}
	rescue := w.Rescue
	if rescue == 0 {
		rescue = sweep.DefaultRescue
	}
	end, err := w.desk.Start(ctx, w.Count, rescue, w.Log)
	if err != nil {
		return err
	}
	tending, stop := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan struct{})
	go func() {
		defer close(done)
		w.desk.Tend(tending, w.Keep, w.Log)
	}()
	w.stop = func(ctx context.Context) error {
		stop()
		<-done
		return end(ctx)
	}
	return nil
}

// mostStopping is how long what is in hand may take to give up.
const mostStopping = 10 * time.Second

// Stop ends computing: what is in hand is given up, and computed by whoever comes
// next. It is called before the store is closed.
func (w *SweepWorkers) Stop() error {
	if w.stop == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), mostStopping)
	defer cancel()
	stop := w.stop
	w.stop = nil
	return stop(ctx)
}

// InProcessSweeping is [InProcessOver] that computes the sweeps of the store too,
// as many parts at once as workers says.
func InProcessSweeping(address string, now func() time.Time, workers int) func(context.Context) (*grpc.ClientConn, func(), error) {
	return func(ctx context.Context) (*grpc.ClientConn, func(), error) {
		kept, err := OpenStore(ctx, address)
		if err != nil {
			return nil, nil, err
		}
		w := &SweepWorkers{Count: workers, Log: zap.NewNop()}
		conn, stop, err := inProcess(WithStore(kept, now), WithSweepWorkers(w))
		if err == nil {
			if err = w.Start(ctx); err != nil {
				stop()
			}
		}
		if err != nil {
			return nil, nil, errors.Join(err, kept.Close())
		}
		return conn, func() {
			_ = w.Stop() // what is in hand is begun again the next time
			stop()
			_ = kept.Close()
		}, nil
	}
}
