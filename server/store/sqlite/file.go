package sqlite

import (
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"io"
	"os"
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
	if err := s.whole(); err != nil {
		return err
	}
	var objects, id int64
	if err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema`).Scan(&objects); err != nil {
		return errorf("read the store file: %w", err)
	}
	if err := s.db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id); err != nil {
		return errorf("read the store file: %w", err)
	}
	if objects > 0 && id != applicationID {
		return store.Errorf(store.Refused, "STORE_FOREIGN", "%s is a database of another program: name another file", s.path)
	}
	if objects == 0 {
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
	if err := checkPages(ctx, s.db); err != nil {
		return err
	}
	version, err := migrations.Up(ctx, s.db, migrations.SQLite)
	if err != nil {
		return fault(err)
	}
	s.options.At("migrated")
	if _, err := s.db.ExecContext(ctx, fmt.Sprintf(`PRAGMA user_version = %d`, version)); err != nil {
		return errorf("write the store file: %w", err)
	}
	return checkLogs(ctx, s.db)
}

// whole refuses a file that was closed in order and is not as long as its
// header says: a copy that was cut short.
func (s *Store) whole() error {
	if s.options.VFS != "" {
		return nil
	}
	if wal, err := os.Stat(s.path + "-wal"); err == nil && wal.Size() > 0 {
		return nil // it was not closed in order: the log beside it completes it
	}
	file, err := os.Open(s.path)
	if err != nil {
		return errorf("read the store file: %w", err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return errorf("read the store file: %w", err)
	}
	var header [100]byte
	if info.Size() == 0 {
		return nil
	}
	if _, err := io.ReadFull(file, header[:]); err != nil {
		return damaged("it ends inside its header")
	}
	page := int64(binary.BigEndian.Uint16(header[16:]))
	if page == 1 {
		page = 65536
	}
	if pages := int64(binary.BigEndian.Uint32(header[28:])); pages > 0 && info.Size() != page*pages {
		return damaged(fmt.Sprintf("it has %d bytes and its header says %d", info.Size(), page*pages))
	}
	return nil
}

func damaged(how string) error {
	return store.Errorf(store.Corrupt, "STORE_CORRUPT",
		"the store file is damaged (%s): stop, keep a copy of it, and restore the last backup", how)
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
	if err := checkPages(ctx, s.readDB); err != nil {
		return err
	}
	return checkLogs(ctx, s.readDB)
}

// checkPages reads every page and follows every reference.
func checkPages(ctx context.Context, db *sql.DB) error {
	for _, pragma := range []string{`PRAGMA integrity_check(10)`, `PRAGMA foreign_key_check`} {
		if err := checkPragma(ctx, db, pragma); err != nil {
			return err
		}
	}
	return nil
}

// checkLogs verifies every log and that the stock is what it says.
func checkLogs(ctx context.Context, db *sql.DB) error {
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
		return damaged(strings.Join(faults, "; "))
	}
	return nil
}
