//go:build !unix

package sqlite

import "os"

// lockFile only makes the file where the system has no such lock: SQLite's own
// locks then keep two writers apart, one change at a time.
func lockFile(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
}
