// Package sqlite keeps a store in one file, without a server: the embedded
// default.
//
// The file is in WAL mode with synchronous=FULL. One goroutine writes; changes
// that wait while another is being written are committed together with the next
// (at most 32, or those that come within a millisecond), and every one is
// answered after the commit. Others read beside it. A second process is kept
// out by a lock, and pages carry checksums, so that a damaged file is found
// when it is opened and not when it is needed. Never put the file on a network
// file system.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"sync"

	_ "github.com/ncruces/go-sqlite3/driver" // the embedded driver, "sqlite3"

	"bowroll/server/store"
	"bowroll/server/store/internal/table"
)

// Store is a store in one file.
type Store struct {
	path      string
	options   Options
	lock      *os.File
	db        *sql.DB
	writer    *conn
	readDB    *sql.DB
	queueDB   *sql.DB // of the job queue; opened when it is first asked for
	queueErr  error
	queueOnce sync.Once
	readers   chan *conn
	opened    int // readers there are

	jobs    chan *job
	closing chan struct{}
	stopped chan struct{}
	once    sync.Once
}

var (
	_ store.Store    = (*Store)(nil)
	_ store.Backuper = (*Store)(nil)
)

// Open opens the store at path, and makes it where there is none. It brings the
// schema up to date, and checks the whole file: see [store.Corrupt],
// [store.Newer] and [store.Unavailable] (in use). Readable by others, the file
// is refused.
func Open(ctx context.Context, path string, options Options) (*Store, error) {
	s := &Store{
		path: path, options: options.withDefaults(),
		jobs: make(chan *job), closing: make(chan struct{}), stopped: make(chan struct{}),
	}
	if err := s.open(ctx); err != nil {
		s.release()
		return nil, err
	}
	go s.write()
	return s, nil
}

func (s *Store) open(ctx context.Context) (err error) {
	if s.options.VFS == "" {
		if err := private(s.path); err != nil {
			return err
		}
		if s.lock, err = lockFile(s.path + ".lock"); err != nil {
			return err
		}
	}
	if s.db, err = sql.Open(s.options.Driver, s.options.dataSource(s.path, false)); err != nil {
		return errorf("open: %w", err)
	}
	s.db.SetMaxOpenConns(1)
	if err := s.prepareFile(ctx); err != nil {
		return err
	}
	if s.writer, err = newConn(ctx, s.db); err != nil {
		return errorf("open: %w", err)
	}
	if s.options.Exclusive {
		return nil
	}
	if s.readDB, err = sql.Open(s.options.Driver, s.options.dataSource(s.path, true)); err != nil {
		return errorf("open: %w", err)
	}
	s.readDB.SetMaxOpenConns(s.options.Readers + 1) // one more for checks
	s.readers = make(chan *conn, s.options.Readers)
	for range s.options.Readers {
		reader, err := newConn(ctx, s.readDB)
		if err != nil {
			return errorf("open: %w", err)
		}
		s.readers <- reader
		s.opened++
	}
	return nil
}

// private makes the file where there is none, readable by its owner alone, and
// refuses one that others can read.
func private(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
		if err != nil {
			return &store.Error{Class: store.Unavailable, Reason: "STORE_IO",
				Text: "the store file cannot be made: the folder must exist and the service needs write access to it", Err: err}
		}
		return file.Close()
	}
	if err != nil {
		return &store.Error{Class: store.Unavailable, Reason: "STORE_IO", Text: "the store file cannot be opened", Err: err}
	}
	if info.IsDir() {
		return store.Errorf(store.Invalid, "STORE_PATH", "%s is a folder: name a file", path)
	}
	if mode := info.Mode().Perm(); mode&0o007 != 0 {
		return store.Errorf(store.Refused, "STORE_PERMISSIONS",
			"%s can be read by everybody (mode %04o): take that away first (chmod o-rwx)", path, mode)
	}
	return nil
}

// Update runs one change. See [store.Store].
func (s *Store) Update(ctx context.Context, site string, request store.Request, change store.Change) ([]byte, bool, error) {
	one := s.submit(&job{ctx: ctx, site: site, request: request, change: change})
	return one.result, one.replayed, one.err
}

// View runs read on one snapshot. See [store.Store].
func (s *Store) View(ctx context.Context, site string, read func(context.Context, store.Reader) error) (err error) {
	if s.options.Exclusive {
		return s.submit(&job{ctx: ctx, site: site, read: read}).err
	}
	var reader *conn
	select {
	case <-s.closing:
		return errClosed()
	default:
	}
	select {
	case reader = <-s.readers:
	case <-ctx.Done():
		return ctx.Err()
	case <-s.closing:
		return errClosed()
	}
	defer func() { s.readers <- reader }()
	if _, err := reader.Exec(background, `BEGIN`); err != nil {
		return fault(err)
	}
	defer func() {
		if _, end := reader.Exec(background, `ROLLBACK`); end != nil && err == nil {
			err = fault(end)
		}
	}()
	return read(ctx, table.NewTx(reader, site))
}

// Sites returns the sites that have a log.
func (s *Store) Sites(ctx context.Context) (sites []string, err error) {
	err = s.View(ctx, "", func(ctx context.Context, r store.Reader) error {
		sites, err = r.(*table.Tx).Sites(ctx)
		return err
	})
	return sites, err
}

// Close ends the store. See [store.Store].
func (s *Store) Close() error {
	var err error
	s.once.Do(func() {
		close(s.closing)
		<-s.stopped
		err = s.release()
	})
	return err
}

// release closes what was opened, as far as it was.
func (s *Store) release() error {
	var errs []error
	if s.readers != nil {
		for range s.opened {
			errs = append(errs, (<-s.readers).close())
		}
		errs = append(errs, s.readDB.Close())
	}
	if s.queueDB != nil {
		errs = append(errs, s.queueDB.Close())
	}
	if s.writer != nil {
		if s.queueDB != nil {
			// Closing the last connection checkpoints, and where another has written
			// since this one last read, that reaches for a memory map that the embedded
			// driver (0.37.0) does not have without one. So it reads once more.
			if found, err := s.writer.Query(background, `SELECT count(*) FROM sites`); err == nil {
				found.Next()
				found.Close()
			}
		}
		errs = append(errs, s.writer.close())
	}
	if s.db != nil {
		errs = append(errs, s.db.Close())
	}
	if s.lock != nil {
		errs = append(errs, s.lock.Close())
	}
	return errors.Join(errs...)
}
