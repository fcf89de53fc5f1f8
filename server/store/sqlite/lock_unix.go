//go:build unix

package sqlite

import (
	"errors"
	"os"
	"syscall"

	"bowroll/server/store"
)

// lockFile takes the lock that keeps a second process out. The lock goes with
// the process, however it ends; the empty file stays.
func lockFile(path string) (*os.File, error) {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, &store.Error{Class: store.Unavailable, Reason: "STORE_LOCK",
			Text: "the lock file beside the store cannot be made: the service needs write access to the folder", Err: err}
	}
	if err := syscall.Flock(int(file.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		file.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, store.Errorf(store.Unavailable, "STORE_IN_USE",
				"the store is in use by another process (%s is locked): one process at a time; for several use PostgreSQL", path)
		}
		return nil, &store.Error{Class: store.Unavailable, Reason: "STORE_LOCK", Text: "the store cannot be locked", Err: err}
	}
	return file, nil
}
