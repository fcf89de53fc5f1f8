package sqlite_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"

	"bowroll/server/store"
	"bowroll/server/store/sqlite"
	"bowroll/server/store/storetest"
)

// dying is the file system of the machine, under a process that kills itself
// before its left-th change of a file. It writes down the kind of each change.
type dying struct {
	vfs.VFS
	lock     sync.Mutex
	left     int
	migrated bool
	kinds    strings.Builder
}

// The kinds of changes: of the file or its journal as the schema moves on, of the
// log beside it then, and the same two afterwards. The file changes afterwards
// only as a checkpoint moves the log into it.
const (
	fileMigrating = 'f'
	logMigrating  = 'l'
	checkpoint    = 'C'
	logAfterwards = 'L'
)

func (d *dying) change(flags vfs.OpenFlag) {
	d.lock.Lock()
	defer d.lock.Unlock()
	if d.left--; d.left == 0 {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {} // the signal is on its way: nothing more is done here
	}
	inLog := flags&vfs.OPEN_WAL != 0
	switch {
	case !d.migrated && inLog:
		d.kinds.WriteByte(logMigrating)
	case !d.migrated:
		d.kinds.WriteByte(fileMigrating)
	case inLog:
		d.kinds.WriteByte(logAfterwards)
	default:
		d.kinds.WriteByte(checkpoint)
	}
}

func (d *dying) Open(name string, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	file, flags, err := vfsutil.WrapOpen(d.VFS, name, flags)
	return dyingFile{file, d, flags}, flags, err
}

func (d *dying) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	file, flags, err := vfsutil.WrapOpenFilename(d.VFS, name, flags)
	return dyingFile{file, d, flags}, flags, err
}

type dyingFile struct {
	vfs.File
	disk  *dying
	flags vfs.OpenFlag
}

func (f dyingFile) WriteAt(p []byte, offset int64) (int, error) {
	f.disk.change(f.flags)
	return f.File.WriteAt(p, offset)
}

func (f dyingFile) Truncate(size int64) error {
	f.disk.change(f.flags)
	return f.File.Truncate(size)
}

func (f dyingFile) Sync(flags vfs.SyncFlag) error {
	f.disk.change(f.flags)
	return f.File.Sync(flags)
}

func (f dyingFile) SharedMemory() vfs.SharedMemory { return vfsutil.WrapSharedMemory(f.File) }

// dieAtChange brings the store at path up to date, receives a few units and closes it,
// all of it on a file system that dies. It says what it has done.
func dieAtChange(path, left string) error {
	n, err := strconv.Atoi(left)
	if err != nil {
		return err
	}
	d := &dying{VFS: vfs.Find(""), left: n}
	vfs.Register("dying", d)
	s, err := sqlite.Open(context.Background(), path, sqlite.Options{VFS: "dying", At: func(point string) {
		if point == "migrated" {
			d.lock.Lock()
			d.migrated = true
			d.lock.Unlock()
		}
	}})
	if err != nil {
		return err
	}
	receive(&testing.T{}, s, map[string]bool{})
	fmt.Println("u-1")
	for i := range 3 {
		id := fmt.Sprintf("k-%d", i)
		if err := tryReceive(s, id); err != nil {
			return err
		}
		fmt.Println(id)
	}
	if err := s.Close(); err != nil {
		return err
	}
	fmt.Println("changes", d.kinds.String())
	return nil
}

// TestKillAtEachChange kills the process that brings a database of the first
// schema up to date, writes, and moves the log into the file, before every change
// it makes of a file: inside each migration and inside the checkpoint. Unless
// BOWROLL_KILL_CYCLES is set it takes some of these points, of each kind.
func TestKillAtEachChange(t *testing.T) {
	golden, err := os.ReadFile("testdata/schema-1.db")
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile("testdata/schema-1.txt")
	if err != nil {
		t.Fatal(err)
	}
	head := schemaOf(t, filled(t, 0))
	run := func(left int) (path, said string) {
		path = filepath.Join(t.TempDir(), "bowroll.db")
		if err := os.WriteFile(path, golden, 0o600); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "BOWROLL_KILL_STORE="+path, fmt.Sprintf("BOWROLL_KILL_CHANGE=%d", left))
		var complaint strings.Builder
		cmd.Stderr = &complaint
		out, _ := cmd.Output()
		if complaint.Len() > 0 {
			t.Fatalf("at change %d: %s", left, complaint.String())
		}
		return path, string(out)
	}
	_, said := run(-1)
	_, kinds, whole := strings.Cut(strings.TrimSpace(said), "changes ")
	if !whole {
		t.Fatalf("nothing killed it, and it said %q", said)
	}
	kills := map[rune]int{}
	for left, kind := range kinds {
		if most := strings.Count(kinds, string(kind)); os.Getenv("BOWROLL_KILL_CYCLES") == "" {
			// Evenly through the changes of a kind, its first among them.
			if nth := strings.Count(kinds[:left], string(kind)); nth%max(1, most/6) != 0 {
				continue
			}
		}
		kills[kind]++
		path, said := run(left + 1)
		if strings.Contains(said, "changes") {
			t.Fatalf("change %d did not kill it", left+1)
		}
		s, err := sqlite.Open(context.Background(), path, sqlite.Options{}) // checks pages, logs and folds
		if err != nil {
			t.Fatalf("killed before change %d (%c): %v", left+1, kind, err)
		}
		if got := storetest.Describe(t, s); got != string(want) {
			t.Errorf("killed before change %d (%c): it holds\n%s\nand held\n%s", left+1, kind, got, want)
		}
		var sum tally
		acknowledged := map[string]bool{}
		for _, id := range strings.Fields(said) {
			acknowledged[id] = true
		}
		if sum.compare(t, s, acknowledged, 0); sum.lost > 0 || sum.acknowledged != len(strings.Fields(said)) {
			t.Errorf("killed before change %d (%c): %+v", left+1, kind, sum)
		}
		if err := tryReceive(s, "later"); err != nil && !store.Is(err, store.NotFound) {
			t.Errorf("killed before change %d (%c): %v", left+1, kind, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if got := schemaOf(t, path); got != head {
			t.Errorf("killed before change %d (%c): schema %d, and the head is %d", left+1, kind, got, head)
		}
	}
	t.Logf("killed %d times in the file while migrating, %d in the log then, %d in the log afterwards, %d in the checkpoint, of %d changes",
		kills[fileMigrating], kills[logMigrating], kills[logAfterwards], kills[checkpoint], len(kinds))
	if kills[logMigrating] == 0 || kills[checkpoint] == 0 {
		t.Error("it was never killed inside a migration, or never inside a checkpoint")
	}
}

// schemaOf reads the version of the schema that a closed store has.
func schemaOf(t *testing.T, path string) (version int) {
	t.Helper()
	db, err := sql.Open("sqlite3", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow(`SELECT max(version_id) FROM goose_db_version`).Scan(&version); err != nil {
		t.Fatal(err)
	}
	return version
}
