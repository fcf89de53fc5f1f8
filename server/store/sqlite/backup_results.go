package sqlite

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"bowroll/server/store"
)

// sweepSuffix is what the folder of results of sweeps has after the name of the
// store that it lies beside.
const sweepSuffix = ".sweeps"

// copyResults copies the results of sweeps beside one store beside another, which
// has none. Parts never change once they have their names; what is removed
// meanwhile is left out, and so is what has no name yet. Whoever reads a part
// holds it against the sum in the store.
func copyResults(ctx context.Context, from, to string) (err error) {
	source, target := from+sweepSuffix, to+sweepSuffix
	if _, err := os.Stat(source); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err := os.Mkdir(target, 0o700); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return store.Errorf(store.Exists, "SWEEP_RESULTS_EXIST", "%s exists already: move it away first, results of sweeps are never written over", target)
		}
		return resultsFault(err)
	}
	defer func() {
		if err != nil {
			_ = os.RemoveAll(target)
		}
	}()
	return resultsFault(filepath.WalkDir(source, func(path string, entry fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		rest, err := filepath.Rel(source, path)
		if err != nil {
			return err
		}
		switch {
		case entry.IsDir():
			return os.MkdirAll(filepath.Join(target, rest), 0o700)
		case !strings.HasSuffix(path, ".part"):
			return nil
		}
		return copyFile(path, filepath.Join(target, rest))
	}))
}

// copyFile copies one file, durably.
func copyFile(from, to string) error {
	source, err := os.Open(from)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer source.Close()
	target, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(target, source)
	if err == nil {
		err = target.Sync()
	}
	return errors.Join(err, target.Close())
}

func resultsFault(err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return &store.Error{Class: store.Unavailable, Reason: "SWEEP_RESULTS_IO", Text: "the results of sweeps could not be copied whole", Err: err}
}
