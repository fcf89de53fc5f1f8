package sqlite

import (
	"database/sql"

	"bowroll/server/store"
)

// QueueDB is a connection to the file for the job queue, which works its own
// tables beside the writer: each of its transactions takes the write lock from
// the start and waits for it, up to the busy timeout, as the writer waits for
// the queue's. Both are short. It is closed with the store. A store whose one
// connection does everything has none.
func (s *Store) QueueDB() (*sql.DB, error) {
	if s.options.Exclusive {
		return nil, store.Errorf(store.Refused, "STORE_EXCLUSIVE", "a store with one connection for everything has no job queue")
	}
	s.queueOnce.Do(func() {
		if s.queueDB, s.queueErr = sql.Open(s.options.Driver, s.options.dataSource(s.path, false)); s.queueErr == nil {
			s.queueDB.SetMaxOpenConns(1)
		}
	})
	return s.queueDB, s.queueErr
}

// SweepFolder is where the results of sweeps lie: beside the file, which stays
// small, quick to open and quick to copy however many rows there are.
func (s *Store) SweepFolder() string { return s.path + sweepSuffix }
