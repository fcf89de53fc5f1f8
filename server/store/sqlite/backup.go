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
func (s *Store) Backup(ctx context.Context, path string) error {
	select {
	case <-s.closing:
		return errClosed()
	default:
	}
	return Backup(ctx, s.path, path)
}

// Backup copies the store at from, which may be in use by another process, to
// a new file at path, and reads the copy back whole. The results of sweeps, which
// lie beside the store, are copied beside the copy, after it: whatever it counts
// as done is among them. It refuses to write over a file, and leaves none behind
// where it fails.
func Backup(ctx context.Context, from, path string) (err error) {
	if _, err := os.Stat(from); err != nil {
		return &store.Error{Class: store.NotFound, Reason: "STORE_NOT_FOUND", Text: "the store cannot be read", Err: err}
	}
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
	options := Options{}.withDefaults()
	db, err := sql.Open(options.Driver, options.dataSource(from, false))
	if err != nil {
		return fault(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	var id int64
	if err := db.QueryRowContext(ctx, `PRAGMA application_id`).Scan(&id); err != nil {
		return fault(err)
	}
	if id != applicationID {
		return store.Errorf(store.Refused, "STORE_FOREIGN", "%s is not a store of this program", from)
	}
	// VACUUM INTO fills an empty file from one snapshot. The copy has checksums
	// only where its first page is written first, so no page may leave the cache
	// early.
	if _, err := db.ExecContext(ctx, `PRAGMA cache_spill = 1073741824`); err != nil {
		return fault(err)
	}
	if _, err := db.ExecContext(ctx, `VACUUM INTO ?1`, path); err != nil {
		return fault(err)
	}
	if err := syncFile(path); err != nil {
		return err
	}
	if err := readBack(ctx, path); err != nil {
		return err
	}
	return copyResults(ctx, from, path)
}

// readBack reads a backup whole: one that was never read is none.
func readBack(ctx context.Context, path string) error {
	options := Options{}.withDefaults()
	db, err := sql.Open(options.Driver, options.dataSource(path, true))
	if err != nil {
		return fault(err)
	}
	defer db.Close()
	if err := checkPages(ctx, db); err != nil {
		return err
	}
	return checkLogs(ctx, db)
}

// Restore makes a new store at path from the backup at from, with the results of
// sweeps beside it, and checks it whole before it returns. It refuses to write over a file.
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
	if err := restored.Close(); err != nil {
		return err
	}
	return copyResults(ctx, from, path)
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
