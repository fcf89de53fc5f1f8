package sweep

import (
	"context"
	"database/sql"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivertype"

	"bowroll/server/store"
)

// queueName is the queue that parts wait in.
const queueName = "sweeps"

// job is one part of a sweep to compute.
type job struct {
	Site   string `json:"site"`
	Sweep  string `json:"sweep"`
	Digest string `json:"digest"` // of the spec
	// Made is when the sweep was created, in microseconds: a deleted sweep's jobs
	// are not its namesake's.
	Made  int64 `json:"made"`
	Chunk int64 `json:"chunk"`
}

// isOf tells whether the job is one of a sweep.
func (j job) isOf(s store.Sweep) bool {
	return s.RequestDigest == j.Digest && store.Micros(s.CreateTime) == j.Made
}

// key names the results of the job.
func (j job) key() key { return key{j.Site, j.Sweep, j.Digest, j.Made, j.Chunk} }

// Kind names the job in the queue.
func (job) Kind() string { return "sweep_chunk" }

// mostAttempts bounds how often a part is begun, deaths of workers included.
// mostErrors is after how many the sweep has failed.
const (
	mostAttempts = 100
	mostErrors   = 6
)

// A queue is the job queue over the database of a store.
type queue interface {
	// insert queues jobs in a transaction of the store.
	insert(ctx context.Context, tx store.Tx, jobs []job) error
	// run works jobs until stop is called, which waits for those in hand to give up.
	run(ctx context.Context, options running, work func(context.Context, job, int) error) (stop func(context.Context) error, err error)
}

// running says how jobs are worked.
type running struct {
	workers int
	// rescue is after how long a job whose worker went silent goes to another.
	rescue time.Duration
	log    *slog.Logger
}

// queueOf is the job queue of a store, and where it keeps results.
func queueOf(kept store.Store) (queue, Results, error) {
	for { // what wraps a store, e.g. to trace it, says what it wraps
		wrapper, ok := kept.(interface{ Unwrap() store.Store })
		if !ok {
			break
		}
		kept = wrapper.Unwrap()
	}
	switch s := kept.(type) {
	case interface{ Pool() *pgxpool.Pool }:
		return &overRiver[pgx.Tx]{driver: riverpgxv5.New(s.Pool()), native: func(tx any) (pgx.Tx, bool) { t, ok := tx.(pgx.Tx); return t, ok }},
			rows{s.Pool()}, nil
	case interface {
		QueueDB() (*sql.DB, error)
		SweepFolder() string
	}:
		db, err := s.QueueDB()
		if err != nil {
			return nil, nil, err
		}
		return &overRiver[*sql.Tx]{driver: riversqlite.New(db), native: func(tx any) (*sql.Tx, bool) { t, ok := tx.(*sql.Tx); return t, ok && t != nil },
			free: func(ctx context.Context) error { return free(ctx, db) }}, folder{s.SweepFolder()}, nil
	}
	return nil, nil, store.Errorf(store.Refused, "STORE_QUEUE", "this store has no job queue")
}

// free lets the jobs of a process that died be worked again. The file has one
// owner, so that none of them can still be running.
func free(ctx context.Context, db *sql.DB) error {
	_, err := db.ExecContext(ctx, `UPDATE river_job SET state = 'available' WHERE state = 'running' AND queue = ?`, queueName)
	return err
}

// overRiver is River over one kind of transaction.
type overRiver[T any] struct {
	driver riverdriver.Driver[T]
	native func(tx any) (T, bool)
	free   func(ctx context.Context) error
}

func (r *overRiver[T]) insert(ctx context.Context, tx store.Tx, jobs []job) error {
	native, ok := r.native(tx.Native())
	if !ok {
		return store.Errorf(store.Internal, "STORE_QUEUE", "the transaction is not one of the queue's database")
	}
	client, err := river.NewClient(r.driver, &river.Config{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	const together = 1000
	for len(jobs) > 0 {
		n := min(together, len(jobs))
		list := make([]river.InsertManyParams, n)
		for i, j := range jobs[:n] {
			list[i] = river.InsertManyParams{Args: j, InsertOpts: &river.InsertOpts{Queue: queueName, MaxAttempts: mostAttempts}}
		}
		if _, err := client.InsertManyTx(ctx, native, list); err != nil {
			return err
		}
		jobs = jobs[n:]
	}
	return nil
}

func (r *overRiver[T]) run(ctx context.Context, o running, work func(context.Context, job, int) error) (func(context.Context) error, error) {
	if r.free != nil {
		if err := r.free(ctx); err != nil {
			return nil, err
		}
	}
	workers := river.NewWorkers()
	river.AddWorker(workers, river.WorkFunc(func(ctx context.Context, j *river.Job[job]) error { return work(ctx, j.Args, j.Attempt) }))
	client, err := river.NewClient(r.driver, &river.Config{
		Queues:  map[string]river.QueueConfig{queueName: {MaxWorkers: o.workers}},
		Workers: workers, Logger: o.log,
		FetchCooldown: 5 * time.Millisecond, FetchPollInterval: 500 * time.Millisecond,
		JobTimeout: o.rescue * 2 / 3, RescueStuckJobsAfter: o.rescue,
		RetryPolicy: retry{},
	})
	if err != nil {
		return nil, err
	}
	if err := client.Start(context.WithoutCancel(ctx)); err != nil {
		return nil, err
	}
	return client.StopAndCancel, nil
}

// retry waits a second, then twice as long each time, up to a minute.
type retry struct{}

func (retry) NextRetry(j *rivertype.JobRow) time.Time {
	return time.Now().Add(min(time.Minute, time.Second<<min(len(j.Errors), 6)))
}
