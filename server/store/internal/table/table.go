// Package table keeps the rows of a store in SQL that SQLite and PostgreSQL
// both read. A backend brings the connection; everything about tables is here,
// once.
package table

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	"bowroll/server/store"
)

// Querier is one transaction of a backend. Statements number their parameters
// $1, $2 and so on; times are microseconds and lists are JSON texts.
type Querier interface {
	// Exec runs one statement and returns the number of rows it changed.
	Exec(ctx context.Context, statement string, args ...any) (int64, error)
	// Each runs one statement for each list of arguments, in order, and returns
	// the number of rows each changed.
	Each(ctx context.Context, statement string, args [][]any) ([]int64, error)
	// Query runs a query.
	Query(ctx context.Context, statement string, args ...any) (Rows, error)
	// In returns a condition that is true where column is in the JSON list of
	// texts that parameter number n holds.
	In(column string, n int) string
	// Duplicate reports whether err says that a unique key was there already.
	Duplicate(err error) bool
	// Fault gives an error of the database its class.
	Fault(err error) error
}

// Rows are the rows of a query.
type Rows interface {
	Next() bool
	Scan(targets ...any) error
	Err() error
	Close()
}

// Tx is a transaction on the tables of one site. It implements [store.Tx].
type Tx struct {
	q    Querier
	site string
}

var _ store.Tx = (*Tx)(nil)

// NewTx returns the transaction q, bound to site.
func NewTx(q Querier, site string) *Tx { return &Tx{q: q, site: site} }

// Site returns the site that the transaction is bound to.
func (t *Tx) Site() string { return t.site }

// Open makes sure that the site has a row; a writer calls it first. In
// PostgreSQL it takes the lock under which changes of one site follow one
// another.
func (t *Tx) Open(ctx context.Context, lock string) error {
	zeros := make([]byte, 32)
	if _, err := t.exec(ctx, `INSERT INTO sites (site, origin, seq, hash) VALUES ($1, 'home', 0, $2) ON CONFLICT DO NOTHING`, t.site, zeros); err != nil {
		return err
	}
	if lock == "" {
		return nil
	}
	return t.query(ctx, func(Rows) error { return nil }, `SELECT seq FROM sites WHERE site = $1 `+lock, t.site)
}

// Head returns the end of the log.
func (t *Tx) Head(ctx context.Context) (head store.Head, err error) {
	err = t.query(ctx, func(r Rows) error {
		var hash []byte
		if err := r.Scan(&head.Seq, &hash); err != nil {
			return err
		}
		copy(head.Hash[:], hash)
		return nil
	}, `SELECT seq, hash FROM sites WHERE site = $1`, t.site)
	return head, err
}

// Replica reports whether the log was brought in from the site itself.
func (t *Tx) Replica(ctx context.Context) (replica bool, err error) {
	err = t.query(ctx, func(r Rows) error {
		var origin string
		err := r.Scan(&origin)
		replica = origin == "replica"
		return err
	}, `SELECT origin FROM sites WHERE site = $1`, t.site)
	return replica, err
}

// MakeReplica says that the log is to be brought in from the site itself.
func (t *Tx) MakeReplica(ctx context.Context) error {
	n, err := t.exec(ctx, `UPDATE sites SET origin = 'replica' WHERE site = $1 AND (seq = 0 OR origin = 'replica')`, t.site)
	if err == nil && n != 1 {
		return store.Errorf(store.Refused, "SITE_AT_HOME", "the log of %s is written here: it cannot be a copy of another", t.site).With("site", t.site)
	}
	return err
}

// exec runs a statement, unless the caller has given up.
func (t *Tx) exec(ctx context.Context, statement string, args ...any) (int64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	n, err := t.q.Exec(ctx, statement, args...)
	return n, t.fault(err)
}

func (t *Tx) each(ctx context.Context, statement string, args [][]any) ([]int64, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(args) == 0 {
		return nil, nil
	}
	return t.q.Each(ctx, statement, args)
}

// query calls row for each row of a query.
func (t *Tx) query(ctx context.Context, row func(Rows) error, statement string, args ...any) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	rows, err := t.q.Query(ctx, statement, args...)
	if err != nil {
		return t.fault(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return t.fault(err)
		}
	}
	return t.fault(rows.Err())
}

// fault classifies an error of the database; errors that have a class, and the
// caller's own end, stay as they are.
func (t *Tx) fault(err error) error {
	var classed *store.Error
	if err == nil || errors.As(err, &classed) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return t.q.Fault(err)
}

// where collects conditions and their arguments.
type where struct {
	text strings.Builder
	args []any
}

func (t *Tx) where() *where {
	w := &where{args: []any{t.site}}
	w.text.WriteString("site = $1")
	return w
}

// and adds a condition on one argument; its %d stands for the parameter's number.
func (w *where) and(condition string, arg any) {
	w.args = append(w.args, arg)
	w.text.WriteString(" AND ")
	fmt.Fprintf(&w.text, condition, len(w.args))
}

// andText adds an equality where value is not empty.
func (w *where) andText(column, value string) {
	if value != "" {
		w.and(column+" = $%d", value)
	}
}

// limit adds a limit and returns the parts of a query after WHERE.
func (w *where) limit(order string, limit int) string {
	w.args = append(w.args, limit)
	return fmt.Sprintf("%s ORDER BY %s LIMIT $%d", w.text.String(), order, len(w.args))
}

// changed is the error for a row that is not as it was read.
func changed(what, id string) *store.Error {
	return store.Errorf(store.Changed, "CHANGED", "%s %s was changed by somebody else: read it again and decide anew", what, id).
		With("resource", what+" "+id)
}

// nullFloat turns an optional number into an argument.
func nullFloat(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

// optional turns a scanned number into an optional one.
func optional(v sql.NullFloat64) *float64 {
	if !v.Valid {
		return nil
	}
	return &v.Float64
}

// Sites returns the sites that have a row, in order.
func (t *Tx) Sites(ctx context.Context) (sites []string, err error) {
	err = t.query(ctx, func(r Rows) error {
		var site string
		err := r.Scan(&site)
		sites = append(sites, site)
		return err
	}, `SELECT site FROM sites ORDER BY site`)
	return sites, err
}
