package postgres

import (
	"context"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"bowroll/server/store/internal/table"
)

// querier is one transaction.
type querier struct{ tx pgx.Tx }

var _ table.Querier = (*querier)(nil)

// Native is the transaction itself.
func (q *querier) Native() any { return q.tx }

// bound keeps the transaction's statements and locks inside the caller's
// deadline, on the server too.
func (q *querier) bound(ctx context.Context) error {
	deadline, ok := ctx.Deadline()
	if !ok {
		return nil
	}
	left := max(1, time.Until(deadline).Milliseconds())
	if left >= mostWait.Milliseconds() {
		return nil
	}
	text := strconv.FormatInt(left, 10)
	_, err := q.tx.Exec(ctx, `SELECT set_config('statement_timeout', $1, true), set_config('lock_timeout', $1, true)`, text)
	return err
}

// Exec runs one statement.
func (q *querier) Exec(ctx context.Context, statement string, args ...any) (int64, error) {
	tag, err := q.tx.Exec(ctx, statement, args...)
	return tag.RowsAffected(), err
}

// Each sends one statement for each list of arguments, all at once.
func (q *querier) Each(ctx context.Context, statement string, args [][]any) (done []int64, err error) {
	batch := &pgx.Batch{}
	for _, list := range args {
		batch.Queue(statement, list...)
	}
	results := q.tx.SendBatch(ctx, batch)
	defer func() {
		if end := results.Close(); err == nil {
			err = end
		}
	}()
	done = make([]int64, 0, len(args))
	for range args {
		tag, err := results.Exec()
		if err != nil {
			return done, err
		}
		done = append(done, tag.RowsAffected())
	}
	return done, nil
}

// Query runs a query.
func (q *querier) Query(ctx context.Context, statement string, args ...any) (table.Rows, error) {
	return q.tx.Query(ctx, statement, args...)
}

// In returns a condition on a JSON list.
func (q *querier) In(column string, n int) string {
	return column + " IN (SELECT jsonb_array_elements_text($" + strconv.Itoa(n) + "::jsonb))"
}

// Duplicate reports whether err is a unique key that was there already.
func (q *querier) Duplicate(err error) bool { return stateOf(err) == uniqueViolation }

// Fault gives an error its class. Conflicts stay as they are: the change is run
// again.
func (q *querier) Fault(err error) error {
	if conflict(err) {
		return err
	}
	return fault(err)
}
