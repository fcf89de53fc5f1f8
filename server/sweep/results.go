package sweep

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"bowroll/server/store"
)

// key names the results of one part. The digest of the spec and when the sweep was
// created keep those of a sweep apart from those of one that had its name before.
type key struct {
	site, sweep, digest string
	made, chunk         int64
}

// keyOf names the results of a part of a sweep.
func keyOf(s store.Sweep, chunk int64) key {
	return key{s.Site, s.ID, s.RequestDigest, store.Micros(s.CreateTime), chunk}
}

// own is what the results of all parts of a sweep have in common, and of no other
// sweep of the site with the same name.
func (k key) own() string { return fmt.Sprintf("%s-%x", short(k.digest), k.made) }

// with is the key with what own returned for it.
func (k key) with(own string) key {
	digest, made, _ := strings.Cut(own, "-")
	k.digest = "sha256:" + digest
	k.made, _ = strconv.ParseInt(made, 16, 64) // what was no number is no sweep's
	return k
}

// Results is where the results of parts are kept. What was put is durable, and the
// same part put again is the same. It is safe for use by many goroutines.
type Results interface {
	put(ctx context.Context, k key, body []byte) error
	get(ctx context.Context, k key) ([]byte, error)
	// remove removes those of every part of a sweep.
	remove(ctx context.Context, k key) error
	// list calls visit with the key of every sweep that has results here; its part
	// is 0, and its digest as short as in names.
	list(ctx context.Context, visit func(k key)) error
}

// folder keeps results as files beside a store file, which one process owns.
type folder struct{ path string }

func (f folder) dir(k key) string {
	return filepath.Join(f.path, k.site, k.sweep, k.own())
}

func (f folder) file(k key) string {
	return filepath.Join(f.dir(k), fmt.Sprintf("%08d.part", k.chunk))
}

// short is a digest as part of a name.
func short(digest string) string {
	_, digits, _ := strings.Cut(digest, ":")
	return digits[:min(16, len(digits))]
}

// put writes a file beside its place, makes it durable, and puts it there.
func (f folder) put(_ context.Context, k key, body []byte) (err error) {
	dir := f.dir(k)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return faultOf(err)
	}
	file, err := os.CreateTemp(dir, "part-*.new")
	if err != nil {
		return faultOf(err)
	}
	defer func() {
		if err != nil {
			_ = os.Remove(file.Name())
		}
	}()
	_, err = file.Write(body)
	if err == nil {
		err = file.Sync()
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return faultOf(err)
	}
	if err := os.Rename(file.Name(), f.file(k)); err != nil {
		return faultOf(err)
	}
	return faultOf(syncFolder(dir))
}

func (f folder) list(_ context.Context, visit func(k key)) error {
	found, err := filepath.Glob(filepath.Join(f.path, "*", "*", "*"))
	for _, dir := range found {
		rest, own := filepath.Split(dir)
		rest, sweep := filepath.Split(filepath.Clean(rest))
		visit(key{site: filepath.Base(rest), sweep: sweep}.with(own))
	}
	return faultOf(err)
}

// syncFolder makes the names in a folder durable, and its own name above.
func syncFolder(dir string) error {
	for _, path := range []string{dir, filepath.Dir(dir)} {
		opened, err := os.Open(path)
		if err != nil {
			return err
		}
		if err := errors.Join(opened.Sync(), opened.Close()); err != nil {
			return err
		}
	}
	return nil
}

func (f folder) get(_ context.Context, k key) ([]byte, error) {
	body, err := os.ReadFile(f.file(k))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, missing(k)
	}
	return body, faultOf(err)
}

func (f folder) remove(_ context.Context, k key) error {
	if err := os.RemoveAll(f.dir(k)); err != nil {
		return faultOf(err)
	}
	_ = os.Remove(filepath.Dir(f.dir(k))) // stays where a namesake has results in it
	return nil
}

func missing(k key) error {
	return store.Errorf(store.Refused, "SWEEP_RESULTS_MISSING",
		"the results of part %d of sweep %s are not there: bring them back from a backup of the folder beside the store, or run the sweep again", k.chunk, k.sweep).
		With("sweep", k.sweep)
}

func faultOf(err error) error {
	if err == nil {
		return nil
	}
	return &store.Error{Class: store.Unavailable, Reason: "SWEEP_RESULTS_IO", Text: "results of a sweep could not be written or read", Err: err}
}

// rows keeps results in a table, where every service over the database has them.
type rows struct{ pool *pgxpool.Pool }

func (r rows) name(k key) string { return k.sweep + "@" + k.own() }

func (r rows) put(ctx context.Context, k key, body []byte) error {
	_, err := r.pool.Exec(ctx, `INSERT INTO sweep_results (site, sweep, chunk, body) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
		k.site, r.name(k), k.chunk, body)
	return faultOf(err)
}

func (r rows) get(ctx context.Context, k key) (body []byte, err error) {
	err = r.pool.QueryRow(ctx, `SELECT body FROM sweep_results WHERE site = $1 AND sweep = $2 AND chunk = $3`, k.site, r.name(k), k.chunk).Scan(&body)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, missing(k)
	}
	return body, faultOf(err)
}

func (r rows) remove(ctx context.Context, k key) error {
	_, err := r.pool.Exec(ctx, `DELETE FROM sweep_results WHERE site = $1 AND sweep = $2`, k.site, r.name(k))
	return faultOf(err)
}

func (r rows) list(ctx context.Context, visit func(k key)) error {
	found, err := r.pool.Query(ctx, `SELECT DISTINCT site, sweep FROM sweep_results ORDER BY site, sweep`)
	if err != nil {
		return faultOf(err)
	}
	var site, name string
	_, err = pgx.ForEachRow(found, []any{&site, &name}, func() error {
		sweep, own, _ := strings.Cut(name, "@")
		visit(key{site: site, sweep: sweep}.with(own))
		return nil
	})
	return faultOf(err)
}

// whole returns the results of a part, held against the sum that was recorded.
func whole(ctx context.Context, from Results, k key, sum [sha256.Size]byte) (*Block, error) {
	body, err := from.get(ctx, k)
	if err != nil {
		return nil, err
	}
	if sha256.Sum256(body) != sum {
		return nil, store.Errorf(store.Corrupt, "SWEEP_RESULTS_CORRUPT", "the results of part %d of sweep %s are damaged: delete the sweep and run it again", k.chunk, k.sweep)
	}
	block, err := decode(body)
	if err != nil {
		return nil, &store.Error{Class: store.Corrupt, Reason: "SWEEP_RESULTS_CORRUPT", Text: "the results of a sweep cannot be read", Err: err}
	}
	return block, nil
}
