package sqlite_test

import (
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bowroll/server/store"
	"bowroll/server/store/sqlite"
)

// wantClass fails the test where err is not of a class or does not say words.
func wantClass(t *testing.T, err error, class store.Class, words ...string) {
	t.Helper()
	if !store.Is(err, class) {
		t.Errorf("got %v (%s), want class %s", err, store.ClassOf(err), class)
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q does not say %q", err, word)
		}
	}
}

// filled makes a closed store with a little stock and returns its path.
func filled(t *testing.T, units int) string {
	path := filepath.Join(t.TempDir(), "bowroll.db")
	s := open(t, path, sqlite.Options{})
	receive(t, s, map[string]bool{})
	for i := range units {
		if err := tryReceive(s, fmt.Sprintf("v-%04d", i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func openError(path string) error {
	s, err := sqlite.Open(context.Background(), path, sqlite.Options{})
	if err == nil {
		s.Close()
	}
	return err
}

func TestSecondProcessIsKeptOut(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bowroll.db")
	open(t, path, sqlite.Options{})
	wantClass(t, openError(path), store.Unavailable, "in use")
}

func TestFileIsPrivate(t *testing.T) {
	path := filled(t, 0)
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v %v", info.Mode(), err)
	}
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	wantClass(t, openError(path), store.Refused, "chmod")
}

func TestForeignFilesAreRefused(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "other.db")
	db, err := sql.Open("sqlite3", "file:"+foreign)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`CREATE TABLE t (x)`); err != nil {
		t.Fatal(err)
	}
	db.Close()
	text := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(text, []byte(strings.Repeat("this is no database at all\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(foreign, 0o600); err != nil {
		t.Fatal(err)
	}
	wantClass(t, openError(foreign), store.Refused, "another program")
	wantClass(t, openError(text), store.Corrupt)
	wantClass(t, openError(dir), store.Invalid, "folder")
	wantClass(t, openError(filepath.Join(dir, "none", "bowroll.db")), store.Unavailable, "folder")
}

func TestNewerSchemaIsRefused(t *testing.T) {
	path := filled(t, 0)
	db, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, 1)`); err != nil {
		t.Fatal(err)
	}
	db.Close()
	wantClass(t, openError(path), store.Newer, "999")
}

// Every single byte of the file that is turned over is noticed when the store
// is opened.
func TestDamageIsFoundAtOpen(t *testing.T) {
	path := filled(t, 30)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if wal, err := os.Stat(path + "-wal"); err == nil && wal.Size() > 0 {
		t.Fatal("the file was not checkpointed when it was closed")
	}
	places := 200
	if testing.Short() {
		places = 30
	}
	random := rand.New(rand.NewPCG(1, 2))
	silent := 0
	for range places {
		bad := append([]byte(nil), good...)
		at := random.IntN(len(bad))
		bad[at] ^= byte(1 + random.IntN(255))
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		err := openError(path)
		switch {
		case err == nil:
			silent++
			t.Errorf("byte %d of %d turned over, and nothing was said", at, len(bad))
		case at >= 100 && !store.Is(err, store.Corrupt):
			t.Errorf("byte %d: %v (%s)", at, err, store.ClassOf(err))
		}
	}
	t.Logf("%d of %d single damaged bytes in %d found", places-silent, places, len(good))
	for _, length := range []int{1, 99, 4096, len(good) / 2, len(good) - 1} {
		if err := os.WriteFile(path, good[:length], 0o600); err != nil {
			t.Fatal(err)
		}
		if err := openError(path); err == nil {
			t.Errorf("the file cut to %d bytes was opened", length)
		}
	}
}

// The log cannot be edited by hand, and where somebody removes the guard the
// chain shows it.
func TestThePastIsNotEdited(t *testing.T) {
	path := filled(t, 2)
	db, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, statement := range []string{
		`UPDATE movements SET reason = 'nothing happened' WHERE seq = 2`,
		`DELETE FROM movements WHERE seq = 2`,
		`DELETE FROM units WHERE id = 'u-1'`,
	} {
		if _, err := db.Exec(statement); err == nil || !strings.Contains(err.Error(), "never") {
			t.Errorf("%s: %v", statement, err)
		}
	}
	for _, statement := range []string{
		`DROP TRIGGER movements_keep_update`,
		`UPDATE movements SET reason = 'nothing happened' WHERE seq = 2`,
	} {
		if _, err := db.Exec(statement); err != nil {
			t.Fatal(err)
		}
	}
	db.Close()
	wantClass(t, openError(path), store.Corrupt, "entry 2")
}

func TestBackupAndRestore(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := open(t, filepath.Join(dir, "bowroll.db"), sqlite.Options{})
	receive(t, s, map[string]bool{})
	// Large enough that pages leave the cache before the header is written.
	for i := range 40 {
		if err := tryReceive(s, fmt.Sprintf("v-%04d", i)); err != nil {
			t.Fatal(err)
		}
	}
	_, _, err := s.Update(ctx, "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		_, err := tx.InsertCatalogRevision(ctx, store.CatalogRevision{Revision: "r", Actor: "a", Body: make([]byte, 12<<20)})
		return nil, err
	})
	if err != nil {
		t.Fatal(err)
	}
	backup := filepath.Join(dir, "backup.db")
	if err := s.Backup(ctx, backup); err != nil {
		t.Fatal(err)
	}
	wantClass(t, s.Backup(ctx, backup), store.Exists)
	if err := tryReceive(s, "after"); err != nil {
		t.Fatalf("after the backup: %v", err)
	}
	wantClass(t, sqlite.Restore(ctx, backup, filepath.Join(dir, "bowroll.db")), store.Exists)
	wantClass(t, sqlite.Restore(ctx, filepath.Join(dir, "none.db"), filepath.Join(dir, "x.db")), store.NotFound)
	restored := filepath.Join(dir, "restored.db")
	if err := sqlite.Restore(ctx, backup, restored); err != nil {
		t.Fatal(err)
	}
	again := open(t, restored, sqlite.Options{})
	err = again.View(ctx, "tern", func(ctx context.Context, r store.Reader) error {
		units, err := r.ListUnits(ctx, store.UnitFilter{}, "", 1000)
		if len(units) != 42 {
			t.Errorf("%d units in the backup", len(units))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := tryReceive(again, "after"); err != nil {
		t.Errorf("the restored store goes on: %v", err)
	}
	// A damaged backup is no store.
	bad, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	bad[len(bad)/2] ^= 1
	if err := os.WriteFile(backup, bad, 0o600); err != nil {
		t.Fatal(err)
	}
	target := filepath.Join(dir, "bad.db")
	wantClass(t, sqlite.Restore(ctx, backup, target), store.Corrupt)
	if _, err := os.Stat(target); err == nil {
		t.Error("a restore that failed left a file")
	}
}
