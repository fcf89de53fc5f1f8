package sqlite

import (
	"context"
	"database/sql"
	"strings"

	"bowroll/server/store/internal/table"
)

// conn is one connection with the statements that were prepared on it. It is
// used by one goroutine at a time.
type conn struct {
	raw        *sql.Conn
	statements map[string]*sql.Stmt
	// tx is the transaction that was begun last.
	tx *sql.Tx
	// together holds, for an INSERT of one row, that of many.
	together map[string]*sql.Stmt
}

var _ table.Querier = (*conn)(nil)

func newConn(ctx context.Context, db *sql.DB) (*conn, error) {
	raw, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	return &conn{raw: raw, statements: map[string]*sql.Stmt{}, together: map[string]*sql.Stmt{}}, nil
}

// begin begins a transaction; the data source says that it writes from the start.
func (c *conn) begin(ctx context.Context) (tx *sql.Tx, err error) {
	c.tx, err = c.raw.BeginTx(ctx, nil)
	return c.tx, err
}

// Native is the transaction that was begun.
func (c *conn) Native() any { return c.tx }

func (c *conn) close() error {
	for _, statement := range c.statements {
		statement.Close()
	}
	return c.raw.Close()
}

// prepare returns the statement, prepared once. SQLite numbers parameters with
// a question mark.
func (c *conn) prepare(ctx context.Context, text string) (*sql.Stmt, error) {
	if statement, ok := c.statements[text]; ok {
		return statement, nil
	}
	statement, err := c.raw.PrepareContext(ctx, strings.ReplaceAll(text, "$", "?"))
	if err != nil {
		return nil, err
	}
	c.statements[text] = statement
	return statement, nil
}

// Exec runs one statement.
func (c *conn) Exec(ctx context.Context, text string, args ...any) (int64, error) {
	statement, err := c.prepare(ctx, text)
	if err != nil {
		return 0, err
	}
	result, err := statement.ExecContext(ctx, args...)
	if err != nil {
		return 0, err
	}
	return result.RowsAffected()
}

// Each runs one statement for each list of arguments; rows of a plain INSERT go
// in many at once.
func (c *conn) Each(ctx context.Context, text string, args [][]any) ([]int64, error) {
	statement, err := c.prepare(ctx, text)
	if err != nil {
		return nil, err
	}
	done := make([]int64, 0, len(args))
	many, err := c.insertTogether(ctx, text, args)
	for range many {
		done = append(done, 1)
	}
	if err != nil {
		return done, err
	}
	for _, list := range args[many:] {
		result, err := statement.ExecContext(ctx, list...)
		if err != nil {
			return done, err
		}
		n, err := result.RowsAffected()
		if err != nil {
			return done, err
		}
		done = append(done, n)
	}
	return done, nil
}

// rows adapts [sql.Rows], whose Close returns an error that Err repeats.
type rows struct{ *sql.Rows }

func (r rows) Close() { _ = r.Rows.Close() }

// Query runs a query.
func (c *conn) Query(ctx context.Context, text string, args ...any) (table.Rows, error) {
	statement, err := c.prepare(ctx, text)
	if err != nil {
		return nil, err
	}
	found, err := statement.QueryContext(ctx, args...)
	if err != nil {
		return nil, err
	}
	return rows{found}, nil
}

// In returns a condition on a JSON list.
func (c *conn) In(column string, n int) string {
	return column + " IN (SELECT value FROM json_each($" + string(rune('0'+n)) + "))"
}

// Duplicate reports whether err is a unique key that was there already.
func (c *conn) Duplicate(err error) bool {
	code := codeOf(err)
	return code == codeUnique || code == codePrimaryKey
}

// Fault gives an error its class.
func (c *conn) Fault(err error) error { return fault(err) }
