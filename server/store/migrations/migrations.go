// Package migrations brings a database to the schema of this program, forward
// only: one SQL file a step, one folder a dialect.
package migrations

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"io/fs"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"bowroll/server/store"
)

//go:embed sqlite/*.sql postgres/*.sql
var files embed.FS

// Dialect is a kind of SQL.
type Dialect string

// The dialects there are migrations for.
const (
	SQLite   Dialect = "sqlite"
	Postgres Dialect = "postgres"
)

// Up brings db to the newest schema and returns its version. It returns
// [store.Newer] where the database was written by a newer program, and then
// changes nothing. On PostgreSQL a lock keeps two programs from migrating at
// once; on SQLite the caller holds the file alone.
func Up(ctx context.Context, db *sql.DB, dialect Dialect) (version int64, err error) {
	folder, err := fs.Sub(files, string(dialect))
	if err != nil {
		return 0, err
	}
	var options []goose.ProviderOption
	gooseDialect := goose.DialectSQLite3
	if dialect == Postgres {
		gooseDialect = goose.DialectPostgres
		locker, err := lock.NewPostgresSessionLocker()
		if err != nil {
			return 0, err
		}
		options = append(options, goose.WithSessionLocker(locker))
	}
	provider, err := goose.NewProvider(gooseDialect, db, folder, options...)
	if err != nil {
		return 0, err
	}
	current, newest, err := provider.GetVersions(ctx)
	if err != nil {
		return 0, err
	}
	if current > newest {
		return current, store.Errorf(store.Newer, "STORE_NEWER",
			"the store has schema %d and this program knows up to %d: start the newer program, or restore a backup made before", current, newest)
	}
	if err := queueUp(ctx, db, dialect); err != nil {
		return current, &store.Error{Class: store.Unavailable, Reason: "STORE_MIGRATION",
			Text: "the tables of the job queue could not be brought up to date; they are as they were before the failed step", Err: err}
	}
	if _, err := provider.Up(ctx); err != nil {
		var partial *goose.PartialError
		if errors.As(err, &partial) {
			return current, &store.Error{Class: store.Unavailable, Reason: "STORE_MIGRATION",
				Text: "the store could not be brought to the schema of this program; it is as it was before the failed step", Err: err}
		}
		return current, err
	}
	return newest, nil
}
