// Package postgres keeps a store in PostgreSQL, for several services over one
// stock.
//
// Changes of one site follow one another under the lock of the site's row, so
// that each sees the whole effect of those before it; unique indexes stand
// behind that, so that no unit is promised twice whatever writes. Reads run on
// one snapshot and lock nothing.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"

	"bowroll/server/store"
	"bowroll/server/store/internal/table"
	"bowroll/server/store/migrations"
)

// mostTries is how often a change is run where the database finds it in
// conflict with another.
const mostTries = 5

// mostWait bounds a statement where the caller has no deadline.
const mostWait = 30 * time.Second

// Store is a store in PostgreSQL.
type Store struct {
	pool   *pgxpool.Pool
	at     func(string)
	closed atomic.Bool
}

var _ store.Store = (*Store)(nil)

// Options tune a store. The zero value is what a service should use.
type Options struct {
	// Connections is the most connections to keep, 16 by default.
	Connections int
	// At, where set, is called at named points ("migrated", "begin", "before
	// commit", "after commit"), for tests that end the process there.
	At func(point string)
}

// Open opens the store that url names, e.g. "postgres://user@host/database",
// and brings its schema up to date under a lock: see [store.Newer].
func Open(ctx context.Context, url string, options Options) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, &store.Error{Class: store.Invalid, Reason: "STORE_URL",
			Text: "the address of the store cannot be read: it is like postgres://user@host/database", Err: err}
	}
	config.MaxConns = 16
	if options.Connections > 0 {
		config.MaxConns = int32(options.Connections)
	}
	params := config.ConnConfig.RuntimeParams
	params["application_name"] = "bowrolld"
	params["synchronous_commit"] = "on"
	params["timezone"] = "UTC"
	params["statement_timeout"] = strconv.FormatInt(mostWait.Milliseconds(), 10)
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fault(err)
	}
	db := stdlib.OpenDBFromPool(pool)
	_, err = migrations.Up(ctx, db, migrations.Postgres)
	if end := db.Close(); err == nil {
		err = end
	}
	if err != nil {
		pool.Close()
		return nil, fault(err)
	}
	s := &Store{pool: pool, at: options.At}
	if s.at == nil {
		s.at = func(string) {}
	}
	s.at("migrated")
	return s, nil
}

// Update runs one change. See [store.Store].
func (s *Store) Update(ctx context.Context, site string, request store.Request, change store.Change) (result []byte, replayed bool, err error) {
	for try := 1; ; try++ {
		result, replayed, err = s.update(ctx, site, request, change)
		if !conflict(err) {
			return result, replayed, fault(err)
		}
		if try == mostTries {
			return nil, false, &store.Error{Class: store.Changed, Reason: "CONFLICT", Err: err,
				Text: fmt.Sprintf("others were changing the same stock %d times over: read it again and decide anew", try)}
		}
		// Who lost backs off a little, and not all for the same time.
		wait := time.Duration(1+rand.IntN(8<<try)) * time.Millisecond
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return nil, false, ctx.Err()
		}
	}
}

// update runs a change once.
func (s *Store) update(ctx context.Context, site string, request store.Request, change store.Change) (result []byte, replayed bool, err error) {
	s.at("begin")
	err = s.within(ctx, pgx.TxOptions{IsoLevel: pgx.ReadCommitted}, func(q *querier) error {
		if err := q.bound(ctx); err != nil {
			return err
		}
		tx := table.NewTx(q, site)
		if err := tx.Open(ctx, "FOR UPDATE"); err != nil {
			return err
		}
		result, replayed, err = tx.Run(ctx, request, change)
		s.at("before commit")
		return err
	})
	if err != nil {
		return nil, false, err
	}
	s.at("after commit")
	return result, replayed, nil
}

// View runs read on one snapshot. See [store.Store].
func (s *Store) View(ctx context.Context, site string, read func(context.Context, store.Reader) error) error {
	err := s.within(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(q *querier) error {
		return read(ctx, table.NewTx(q, site))
	})
	return fault(err)
}

// within runs do in a transaction. A panic in it is an error of the change.
func (s *Store) within(ctx context.Context, options pgx.TxOptions, do func(*querier) error) (err error) {
	if s.closed.Load() {
		return store.Errorf(store.Unavailable, "STORE_CLOSED", "the store is closed")
	}
	tx, err := s.pool.BeginTx(ctx, options)
	if err != nil {
		return ended(ctx, err)
	}
	done := false
	defer func() {
		if cause := recover(); cause != nil {
			err = store.Errorf(store.Internal, "CHANGE_PANIC", "the change failed: %v", cause)
		}
		if !done {
			// The caller's context may have ended; the rollback must still go out.
			end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
			defer cancel()
			_ = tx.Rollback(end)
		}
	}()
	if err := do(&querier{tx: tx}); err != nil {
		return ended(ctx, err)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	done = true
	if err := tx.Commit(ctx); err != nil {
		if conflict(err) {
			return err
		}
		return &store.Error{Class: store.Unavailable, Reason: "OUTCOME_UNKNOWN", Err: err,
			Text: "the connection to the store was lost while the change was committed: whether it happened only the same request_id will tell"}
	}
	return nil
}

// ended returns the error of a context that has ended, where that is why err
// came about.
func ended(ctx context.Context, err error) error {
	var classed *store.Error
	if end := ctx.Err(); end != nil && (!errors.As(err, &classed) || classed.Class == store.Unavailable) {
		return end
	}
	return err
}

// Sites returns the sites that have a log.
func (s *Store) Sites(ctx context.Context) (sites []string, err error) {
	err = s.View(ctx, "", func(ctx context.Context, r store.Reader) error {
		sites, err = r.(*table.Tx).Sites(ctx)
		return err
	})
	return sites, err
}

// Check verifies every log and that the stock is what it says. The pages are
// the database's own to check.
func (s *Store) Check(ctx context.Context) error {
	return s.View(ctx, "", func(ctx context.Context, r store.Reader) error {
		return r.(*table.Tx).CheckLogs(ctx)
	})
}

// Pool is the connections of the store, for the job queue over the same database
// and for the results of sweeps.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// Close ends the store. See [store.Store].
func (s *Store) Close() error {
	if !s.closed.Swap(true) {
		s.pool.Close()
	}
	return nil
}
