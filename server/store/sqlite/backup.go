package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"io"
	"io/fs"
	"os"

	"bowroll/server/store"
)

// Backup writes a complete copy to a new file at path. See [store.Backuper].
func (s *Store) Backup(ctx context.Context, path string) (err error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		if errors.Is(err, fs.ErrExist) {
			return store.Errorf(store.Exists, "BACKUP_EXISTS", "%s exists already: a backup never writes over a file", path)
		}
		return &store.Error{Class: store.Unavailable, Reason: "BACKUP_IO", Text: "the backup file cannot be made", Err: err}
	}
	defer func() {
		if err != nil {
			_ = os.Remove(path)
		}
	}()
	if err := file.Close(); err != nil {
		return &store.Error{Class: store.Unavailable, Reason: "BACKUP_IO", Text: "the backup file cannot be made", Err: err}
	}
	var reader *conn
	select {
	case reader = <-s.readers:
	case <-ctx.Done():
		return ctx.Err()
	case <-s.closing:
		return errClosed()
	}
	defer func() { s.readers <- reader }()
	// VACUUM INTO fills an empty file. The copy has checksums only where its
	// first page is written first, so no page may leave the cache early.
	for _, pragma := range []string{`PRAGMA query_only = off`, `PRAGMA cache_spill = 1073741824`} {
		if _, err := reader.raw.ExecContext(ctx, pragma); err != nil {
			return fault(err)
		}
	}
	defer func() { _, _ = reader.raw.ExecContext(background, `PRAGMA query_only = on`) }()
	if _, err := reader.raw.ExecContext(ctx, `VACUUM INTO ?1`, path); err != nil {
		return fault(err)
	}
	if err := syncFile(path); err != nil {
		return err
	}
	return s.readBack(ctx, path)
}

// readBack reads a backup whole: one that was never read is none.
func (s *Store) readBack(ctx context.Context, path string) error {
	db, err := sql.Open(s.options.Driver, Options{Driver: s.options.Driver, Synchronous: "FULL"}.dataSource(path, true))
	if err != nil {
		return fault(err)
	}
	defer db.Close()
	if err := checkPages(ctx, db); err != nil {
		return err
	}
	return checkLogs(ctx, db)
}

// Restore makes a new store at path from the backup at from, and checks it
// whole before it returns. It refuses to write over a file.
func Restore(ctx context.Context, from, path string) (err error) {
	source, err := os.Open(from)
	if err != nil {
		return &store.Error{Class: store.NotFound, Reason: "BACKUP_NOT_FOUND", Text: "the backup cannot be read", Err: err}
	}
	defer source.Close()
	target, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		if errors.Is(err, fs.ErrExist) {
			return store.Errorf(store.Exists, "STORE_EXISTS", "%s exists already: move it away first, a restore never writes over a store", path)
		}
		return &store.Error{Class: store.Unavailable, Reason: "STORE_IO", Text: "the store file cannot be made", Err: err}
	}
	defer func() {
		if err != nil {
			for _, suffix := range []string{"", "-wal", "-shm", ".lock"} {
				_ = os.Remove(path + suffix)
			}
		}
	}()
	if _, err := io.Copy(target, source); err != nil {
		target.Close()
		return &store.Error{Class: store.Unavailable, Reason: "STORE_IO", Text: "the backup could not be copied whole", Err: err}
	}
	if err := errors.Join(target.Sync(), target.Close()); err != nil {
		return &store.Error{Class: store.Unavailable, Reason: "STORE_IO", Text: "the backup could not be copied whole", Err: err}
	}
	restored, err := Open(ctx, path, Options{})
	if err != nil {
		return err
	}
	return restored.Close()
}

// syncFile makes the content of a file durable.
func syncFile(path string) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return &store.Error{Class: store.Unavailable, Reason: "BACKUP_IO", Text: "the backup file cannot be opened", Err: err}
	}
	if err := errors.Join(file.Sync(), file.Close()); err != nil {
		return &store.Error{Class: store.Unavailable, Reason: "BACKUP_IO", Text: "the backup is not durable", Err: err}
	}
	return nil
}
