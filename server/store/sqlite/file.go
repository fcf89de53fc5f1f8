package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"github.com/ncruces/go-sqlite3/driver"

	"bowroll/server/store"
	"bowroll/server/store/internal/table"
	"bowroll/server/store/migrations"
)

// applicationID marks a file as ours: "bowr" in ASCII.
const applicationID = 0x626f7772

// prepareFile makes sure that the file is ours, sound and up to date.
func (s *Store) prepareFile(ctx context.Context) error {
	var pages, id int64
	if err := s.db.QueryRowContext(ctx, `PRAGMA page_count`).Scan(&pages); err != nil {
		return errorf("read the store file: %w", err)
	}
	if err := s.db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id); err != nil {
		return errorf("read the store file: %w", err)
	}
	if pages > 0 && id != applicationID {
		return store.Errorf(store.Refused, "STORE_FOREIGN", "%s is a database of another program: name another file", s.path)
	}
	if pages == 0 {
		if err := s.enableChecksums(ctx); err != nil {
			return err
		}
		if _, err := s.db.ExecContext(ctx, fmt.Sprintf(`PRAGMA application_id = %d`, applicationID)); err != nil {
			return errorf("write the store file: %w", err)
		}
	}
	var mode string
	if err := s.db.QueryRowContext(ctx, `PRAGMA journal_mode = wal`).Scan(&mode); err != nil {
		return errorf("set the store file to WAL: %w", err)
	}
	if mode != "wal" {
		return store.Errorf(store.Unavailable, "STORE_IO", "the store file cannot be put into WAL mode (it is in %s): is it on a network file system?", mode)
	}
	if pages > 0 {
		if err := check(ctx, s.db); err != nil {
			return err
		}
	}
	version, err := migrations.Up(ctx, s.db, migrations.SQLite)
	if err != nil {
		return fault(err)
	}
	if _, err := s.db.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, version)); err != nil {
		return errorf("write the store file: %w", err)
	}
	return nil
}

// enableChecksums lets every page of a new file carry a checksum, where the
// driver can.
func (s *Store) enableChecksums(ctx context.Context) error {
	raw, err := s.db.Conn(ctx)
	if err != nil {
		return errorf("open: %w", err)
	}
	defer raw.Close()
	return raw.Raw(func(c any) error {
		if own, ok := c.(driver.Conn); ok {
			return fault(own.Raw().EnableChecksums("main"))
		}
		return nil
	})
}

// Check reads the whole file and every log. See [store.Store].
func (s *Store) Check(ctx context.Context) error {
	if s.options.Exclusive {
		return s.View(ctx, "", func(ctx context.Context, r store.Reader) error {
			return r.(*table.Tx).CheckLogs(ctx)
		})
	}
	return check(ctx, s.readDB)
}

// check reads every page, follows every reference and verifies every log.
func check(ctx context.Context, db *sql.DB) error {
	for _, pragma := range []string{`PRAGMA integrity_check(10)`, `PRAGMA foreign_key_check`} {
		if err := checkPragma(ctx, db, pragma); err != nil {
			return err
		}
	}
	c, err := newConn(ctx, db)
	if err != nil {
		return fault(err)
	}
	defer c.close()
	return table.NewTx(c, "").CheckLogs(ctx)
}

// checkPragma runs a check whose rows, but "ok", are faults.
func checkPragma(ctx context.Context, db *sql.DB, pragma string) error {
	found, err := db.QueryContext(ctx, pragma)
	if err != nil {
		return errorf("check the store file: %w", err)
	}
	defer found.Close()
	columns, err := found.Columns()
	if err != nil {
		return errorf("check the store file: %w", err)
	}
	var faults []string
	for found.Next() {
		values := make([]sql.NullString, len(columns))
		targets := make([]any, len(columns))
		for i := range values {
			targets[i] = &values[i]
		}
		if err := found.Scan(targets...); err != nil {
			return errorf("check the store file: %w", err)
		}
		if values[0].String != "ok" {
			faults = append(faults, values[0].String)
		}
	}
	if err := found.Err(); err != nil {
		return errorf("check the store file: %w", err)
	}
	if len(faults) > 0 {
		return store.Errorf(store.Corrupt, "STORE_CORRUPT",
			"the store file is damaged (%s): stop, keep a copy of it, and restore the last backup", strings.Join(faults, "; "))
	}
	return nil
}
