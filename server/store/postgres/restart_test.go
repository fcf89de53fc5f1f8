//go:build unix

package postgres_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
	"bowroll/server/store/postgres"
)

// TestServerRestarts stops and starts a PostgreSQL server of the test's own at
// once ("immediate": as a crash) while clients write, and looks for what they
// were told was done.
func TestServerRestarts(t *testing.T) {
	if os.Getenv("BOWROLL_TEST_POSTGRES") == "" {
		database(t) // says why it skips, or fails in CI
	}
	control := controlProgram(t)
	dir, err := os.MkdirTemp("", "bowroll-postgres-")
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	as := ordinaryUser(t, dir)
	data := filepath.Join(dir, "data")
	port := 40000 + os.Getpid()%20000
	pg := func(args ...string) {
		t.Helper()
		cmd := exec.Command(control, args...)
		cmd.Dir, cmd.SysProcAttr = dir, as
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("pg_ctl %v: %v: %s", args, err, out)
		}
	}
	pg("-D", data, "-s", "-o", "-A trust -U bowroll", "initdb")
	start := func() {
		pg("-D", data, "-s", "-w", "-l", filepath.Join(dir, "log"), "-o",
			fmt.Sprintf("-p %d -c listen_addresses=127.0.0.1 -c unix_socket_directories=%s", port, dir), "start")
	}
	start()
	defer func() { pg("-D", data, "-s", "-m", "immediate", "stop") }()
	s := open(t, fmt.Sprintf("postgres://bowroll@127.0.0.1:%d/postgres", port), postgres.Options{})
	by := ledger.By{Actor: "k", Time: time.Unix(1e9, 0)}
	update := func(ctx context.Context, id string) error {
		_, _, err := s.Update(ctx, "tern", store.Request{ID: "request-" + id}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
			book, err := ledger.Open(ctx, tx, by)
			if err != nil {
				return nil, err
			}
			if _, err := book.ReceiveUnits(ctx, "lot-a", []string{id}, "mag-1", "delivery"); err != nil {
				return nil, err
			}
			return nil, book.Close(ctx)
		})
		return err
	}
	if _, _, err := s.Update(t.Context(), "tern", store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, by)
		if err != nil {
			return nil, err
		}
		if _, err := book.ReceiveLot(ctx, store.Lot{ID: "lot-a", Kind: store.Booster, Type: "b", ExpireTime: time.Unix(2e9, 0)}, nil, "mag-1", "delivery"); err != nil {
			return nil, err
		}
		return nil, book.Close(ctx)
	}); err != nil {
		t.Fatal(err)
	}
	var (
		wait           sync.WaitGroup
		lock           sync.Mutex
		stop           atomic.Bool
		acknowledged   []string
		failed, others int
	)
	for client := range 6 {
		wait.Go(func() {
			for n := 0; !stop.Load(); n++ {
				id := fmt.Sprintf("u-%d-%d", client, n)
				// The same request again until it is answered, as a client does.
				for try := 0; ; try++ {
					err := update(t.Context(), id)
					lock.Lock()
					switch {
					case err == nil:
						acknowledged = append(acknowledged, id)
					case store.Is(err, store.Unavailable):
						failed++
					default:
						others++
						t.Errorf("%s: %v (%s)", id, err, store.ClassOf(err))
					}
					lock.Unlock()
					if err == nil || try > 200 || !store.Is(err, store.Unavailable) {
						break
					}
					time.Sleep(20 * time.Millisecond)
				}
			}
		})
	}
	for range 3 {
		time.Sleep(300 * time.Millisecond)
		pg("-D", data, "-s", "-m", "immediate", "stop")
		start()
	}
	time.Sleep(200 * time.Millisecond)
	stop.Store(true)
	wait.Wait()
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
	if err := s.View(t.Context(), "tern", func(ctx context.Context, r store.Reader) error {
		units, err := r.Units(ctx, acknowledged)
		if len(units) != len(acknowledged) {
			t.Errorf("%d units of %d acknowledged", len(units), len(acknowledged))
		}
		head, err2 := r.Head(ctx)
		if err2 == nil && int(head.Seq) != 1+len(acknowledged) {
			t.Errorf("%d entries for %d acknowledged requests", head.Seq-1, len(acknowledged))
		}
		return err
	}); err != nil {
		t.Error(err)
	}
	t.Logf("3 crashes of the server, %d acknowledged, %d calls failed and were sent again, 0 lost, 0 repeated", len(acknowledged), failed)
}

// controlProgram finds pg_ctl, on the path or where Debian puts it.
func controlProgram(t *testing.T) string {
	t.Helper()
	if control, err := exec.LookPath("pg_ctl"); err == nil {
		return control
	}
	if found, err := filepath.Glob("/usr/lib/postgresql/*/bin/pg_ctl"); err == nil && len(found) > 0 {
		return found[len(found)-1]
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("no pg_ctl: in CI this test has to run")
	}
	t.Skip("no pg_ctl: a server of the test's own cannot be started")
	return ""
}

// ordinaryUser gives a folder to a user that may run PostgreSQL, which root may
// not, and returns how to be that user; nil where this process is one.
func ordinaryUser(t *testing.T, dir string) *syscall.SysProcAttr {
	t.Helper()
	if os.Geteuid() != 0 {
		return nil
	}
	found, err := user.Lookup("postgres")
	if err != nil {
		if found, err = user.Lookup("nobody"); err != nil {
			t.Skip("neither a user postgres nor nobody to run PostgreSQL as")
		}
	}
	uid, err := strconv.Atoi(found.Uid)
	if err != nil {
		t.Fatal(err)
	}
	gid, err := strconv.Atoi(found.Gid)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(dir, uid, gid); err != nil {
		t.Fatal(err)
	}
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
}
