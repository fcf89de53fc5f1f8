package sqlite

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/internal/table"
)

// The writer commits up to mostTogether changes at once, and takes no further
// one up once mostDelay has gone by since the first.
const (
	mostTogether = 32
	mostDelay    = time.Millisecond
)

// job is one change, or one read where reads share the writer's connection.
type job struct {
	ctx     context.Context
	site    string
	request store.Request
	change  store.Change
	read    func(context.Context, store.Reader) error
	done    chan outcome
}

// outcome is what became of a job.
type outcome struct {
	result   []byte
	replayed bool
	err      error
}

// write takes jobs until the store is closed. Everything that changes the
// database happens here, on one connection.
func (s *Store) write() {
	defer close(s.stopped)
	for {
		select {
		case first := <-s.jobs:
			s.together(first)
		case <-s.closing:
			return
		}
	}
}

// together runs first and the jobs that are waiting behind it in one
// transaction, and answers them after the commit: what one of them has seen of
// another is durable when it answers.
func (s *Store) together(first *job) {
	s.options.At("begin")
	tx, err := s.writer.begin(background)
	if err != nil {
		first.done <- outcome{err: fault(err)}
		return
	}
	var (
		start    = time.Now()
		taken    = make([]*job, 0, mostTogether)
		outcomes = make([]outcome, 0, mostTogether)
		broken   error
	)
	for next := first; next != nil && broken == nil; {
		var one outcome
		one, broken = s.run(next)
		taken, outcomes = append(taken, next), append(outcomes, one)
		next = nil
		if len(taken) < mostTogether && time.Since(start) < mostDelay {
			select {
			case next = <-s.jobs:
			default:
			}
		}
	}
	s.options.At("before commit")
	if broken == nil {
		broken = tx.Commit()
	}
	s.options.At("after commit")
	if broken != nil {
		// Either the transaction is gone already, or it has to go; after a commit
		// that failed the library takes it to be gone.
		if tx.Rollback() != nil {
			_, _ = s.writer.Exec(background, `ROLLBACK`)
		}
	}
	for i, one := range taken {
		if broken != nil && outcomes[i].err == nil {
			outcomes[i] = outcome{err: fault(broken)}
		}
		one.done <- outcomes[i]
	}
}

// run runs one job inside a savepoint. broken is not nil where the whole
// transaction is lost.
func (s *Store) run(j *job) (one outcome, broken error) {
	if err := j.ctx.Err(); err != nil {
		return outcome{err: err}, nil
	}
	if _, err := s.writer.Exec(background, `SAVEPOINT one`); err != nil {
		return outcome{err: fault(err)}, err
	}
	tx := &patient{ctx: j.ctx, conn: s.writer}
	one = s.attempt(j, table.NewTx(tx, j.site))
	if one.err != nil {
		if _, err := s.writer.Exec(background, `ROLLBACK TO one`); err != nil {
			return one, errors.Join(one.err, err)
		}
	}
	if _, err := s.writer.Exec(background, `RELEASE one`); err != nil {
		return outcome{err: fault(err)}, err
	}
	return one, nil
}

// attempt runs the function of a job; a panic in it is the job's own error.
func (s *Store) attempt(j *job, tx *table.Tx) (one outcome) {
	defer func() {
		if cause := recover(); cause != nil {
			one = outcome{err: store.Errorf(store.Internal, "CHANGE_PANIC", "the change failed: %v", cause)}
		}
	}()
	if j.read != nil {
		return outcome{err: j.read(j.ctx, tx)}
	}
	if err := tx.Open(j.ctx, ""); err != nil {
		return outcome{err: err}
	}
	result, replayed, err := tx.Run(j.ctx, j.request, j.change)
	return outcome{result: result, replayed: replayed, err: err}
}

// patient keeps the end of a caller's context away from SQLite: an interrupted
// write would take the other changes of the transaction with it. The context is
// looked at between statements.
type patient struct {
	ctx context.Context
	*conn
}

func (p *patient) Exec(_ context.Context, text string, args ...any) (int64, error) {
	return p.conn.Exec(background, text, args...)
}

func (p *patient) Each(_ context.Context, text string, args [][]any) ([]int64, error) {
	return p.conn.Each(background, text, args)
}

func (p *patient) Query(_ context.Context, text string, args ...any) (table.Rows, error) {
	return p.conn.Query(background, text, args...)
}

var background = context.Background()

// submit hands a job to the writer and waits for its outcome.
func (s *Store) submit(j *job) outcome {
	j.done = make(chan outcome, 1)
	select {
	case <-s.closing:
		return outcome{err: errClosed()}
	default:
	}
	select {
	case s.jobs <- j:
		return <-j.done
	case <-j.ctx.Done():
		return outcome{err: j.ctx.Err()}
	case <-s.closing:
		return outcome{err: errClosed()}
	}
}

func errClosed() error {
	return store.Errorf(store.Unavailable, "STORE_CLOSED", "the store is closed")
}

// errorf is fmt.Errorf for faults met while opening.
func errorf(format string, args ...any) error { return fault(fmt.Errorf(format, args...)) }
