package assembly

import (
	"context"
	"errors"
	"strings"
	"time"

	"google.golang.org/grpc"

	"bowroll/server"
	"bowroll/server/catalog"
	"bowroll/server/rpc"
	"bowroll/server/store"
	"bowroll/server/store/postgres"
	"bowroll/server/store/sqlite"
)

// Option adds to what [New] puts together.
type Option func(services *server.Services, snapshot *catalog.Snapshot)

// WithStore serves stock and plans from a store. Now is the wall clock.
func WithStore(kept store.Store, now func() time.Time) Option {
	return func(services *server.Services, snapshot *catalog.Snapshot) {
		services.Stock = rpc.NewStock(kept, snapshot, now)
		services.Plans = rpc.NewPlans(kept, snapshot, now)
	}
}

// InProcessOver is [InProcess] over the store that an address names, with stock
// and plans in it. Reservations that ran out by now are returned to stock first.
// The store is closed with the server.
func InProcessOver(address string, now func() time.Time) func(context.Context) (*grpc.ClientConn, func(), error) {
	return func(ctx context.Context) (*grpc.ClientConn, func(), error) {
		kept, err := OpenStore(ctx, address)
		if err != nil {
			return nil, nil, err
		}
		conn, stop, err := overStore(ctx, kept, now)
		if err != nil {
			return nil, nil, errors.Join(err, kept.Close())
		}
		return conn, func() {
			stop()
			_ = kept.Close() // everything that was acknowledged is durable already
		}, nil
	}
}

func overStore(ctx context.Context, kept store.Store, now func() time.Time) (*grpc.ClientConn, func(), error) {
	if err := rpc.ExpireAll(ctx, kept, now()); err != nil {
		return nil, nil, err
	}
	return inProcess(WithStore(kept, now))
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
