package migrations

import (
	"context"
	"database/sql"
	"log/slog"

	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
)

// queueLock is the advisory lock of PostgreSQL under which the queue's tables are
// brought up to date: "bowq" in ASCII.
const queueLock = 0x626f7771

// queueUp brings the tables of the job queue, which belong to its library, to
// the version that this program was built with. A step is a transaction; those
// done before are left alone, and so is what a newer program did.
func queueUp(ctx context.Context, db *sql.DB, dialect Dialect) (err error) {
	if dialect == Postgres {
		// The lock lives on one connection while the steps use others.
		held, err := db.Conn(ctx)
		if err != nil {
			return err
		}
		defer held.Close()
		if _, err := held.ExecContext(ctx, `SELECT pg_advisory_lock($1)`, queueLock); err != nil {
			return err
		}
		defer func() {
			_, _ = held.ExecContext(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, queueLock)
		}()
		return steps(ctx, riverdatabasesql.New(db))
	}
	return steps(ctx, riversqlite.New(db))
}

func steps(ctx context.Context, driver riverdriver.Driver[*sql.Tx]) error {
	migrator, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	_, err = migrator.Migrate(ctx, rivermigrate.DirectionUp, nil)
	return err
}
