package assembly

import (
	"context"
	"errors"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"

	"bowroll/server"
	"bowroll/server/catalog"
	"bowroll/server/published"
	"bowroll/server/refusal"
	"bowroll/server/rpc"
	"bowroll/server/store"
	"bowroll/server/store/postgres"
	"bowroll/server/store/sqlite"
	"bowroll/server/sweep"
)

// Option adds to what [New] puts together.
type Option func(*choice)

// choice is what options chose.
type choice struct {
	store store.Store
	now   func() time.Time
	watch *rpc.DriftWatch
	// workers compute sweeps here; nil where this process computes none.
	workers *SweepWorkers
	keys    rpc.SiteKeys
}

// WithStore keeps stock, plans and the catalog in a store. Now is the wall clock.
func WithStore(kept store.Store, now func() time.Time) Option {
	return func(c *choice) { c.store, c.now = kept, now }
}

// WithSiteKeys takes the logs of other sites that are signed with these keys.
func WithSiteKeys(keys rpc.SiteKeys) Option {
	return func(c *choice) { c.keys = keys }
}

// mostOpening is how long opening the catalog of a store may take.
const mostOpening = 30 * time.Second

// open opens the catalog of the store and prepares the services over it.
func (c choice) open(screen *refusal.Screen, seed *catalog.Snapshot, values []published.Row, cores int, registry prometheus.Registerer) (*current, error) {
	ctx, cancel := context.WithTimeout(context.Background(), mostOpening)
	defer cancel()
	kept, err := rpc.OpenCatalog(ctx, c.store, screen.Validator(), seed, c.now)
	if err != nil {
		return nil, err
	}
	rows := rpc.NewSweepRows(c.store, screen.Validator())
	desk, err := sweep.NewDesk(c.store, rows, c.now)
	if err != nil {
		return nil, err
	}
	workers := 0
	if c.workers != nil {
		c.workers.desk, workers = desk, c.workers.Count
		if err := registry.Register(desk.Metrics()); err != nil {
			return nil, err
		}
	}
	return &current{kept: kept, build: func(snapshot *catalog.Snapshot) server.Services {
		services := Services(screen, snapshot, values, cores)
		services.Takeoffs = rpc.NewTakeoffs(screen.Validator(), snapshot, cores).WithRevisions(kept)
		services.Catalog = kept.Service(snapshot)
		services.Stock = rpc.NewStock(c.store, snapshot, c.now).WithKeys(c.keys)
		services.Plans = rpc.NewPlans(c.store, snapshot, c.now).WithRevisions(kept, screen.Validator(), cores)
		services.Observations = rpc.NewObservations(kept, screen.Validator(), snapshot, c.watch)
		services.Sweeps = rpc.NewSweeps(c.store, snapshot, desk, rows, workers, c.now)
		return services
	}}, nil
}

// current is the services over the revision of the catalog that holds.
type current struct {
	kept  *rpc.KeptCatalog
	build func(*catalog.Snapshot) server.Services

	lock     sync.Mutex
	snapshot *catalog.Snapshot
	built    server.Services
}

// services returns them, made anew where the catalog has changed.
func (c *current) services() server.Services {
	snapshot := c.kept.Latest()
	c.lock.Lock()
	defer c.lock.Unlock()
	if snapshot != c.snapshot {
		c.snapshot, c.built = snapshot, c.build(snapshot)
	}
	return c.built
}

// InProcessOver is [InProcess] over the store that an address names, with stock
// and plans in it. Reservations that ran out by now are returned to stock first.
// The store is closed with the server.
func InProcessOver(address string, now func() time.Time, options ...Option) func(context.Context) (*grpc.ClientConn, func(), error) {
	return func(ctx context.Context) (*grpc.ClientConn, func(), error) {
		kept, err := OpenStore(ctx, address)
		if err != nil {
			return nil, nil, err
		}
		conn, stop, err := overStore(ctx, kept, now, options)
		if err != nil {
			return nil, nil, errors.Join(err, kept.Close())
		}
		return conn, func() {
			stop()
			_ = kept.Close() // everything that was acknowledged is durable already
		}, nil
	}
}

func overStore(ctx context.Context, kept store.Store, now func() time.Time, options []Option) (*grpc.ClientConn, func(), error) {
	if err := rpc.ExpireAll(ctx, kept, now()); err != nil {
		return nil, nil, err
	}
	return inProcess(append([]Option{WithStore(kept, now)}, options...)...)
}

// OpenStore opens the store that an address names: a PostgreSQL database
// (postgres://…) or else the path of a file, which is made where there is none.
func OpenStore(ctx context.Context, address string) (store.Store, error) {
	return OpenStoreAt(ctx, address, nil)
}

// OpenStoreAt is [OpenStore] for tests that end the process at named points: at,
// where given, is called there.
func OpenStoreAt(ctx context.Context, address string, at func(point string)) (store.Store, error) {
	if strings.HasPrefix(address, "postgres://") || strings.HasPrefix(address, "postgresql://") {
		return postgres.Open(ctx, address, postgres.Options{At: at})
	}
	return sqlite.Open(ctx, address, sqlite.Options{At: at})
}

// Sweep expires reservations that ran out, every so often until ctx ends.
// Faults go to fault: what could not be done now is done the next time.
func Sweep(ctx context.Context, kept store.Store, every time.Duration, now func() time.Time, fault func(error)) {
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			if err := rpc.ExpireAll(ctx, kept, now()); err != nil && ctx.Err() == nil {
				fault(err)
			}
		}
	}
}
