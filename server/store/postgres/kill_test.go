package postgres_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"go.uber.org/goleak"

	"bowroll/server/store/postgres"
	"bowroll/server/store/storetest"
)

// killedOver is the variable that makes the test binary the process that is
// killed: the address of the store that it opens.
const killedOver = "BOWROLL_KILL_STORE"

// TestMain lets the test binary be the process that is killed. Else nothing is left
// running once the stores of the tests are closed.
func TestMain(m *testing.M) {
	if address := os.Getenv(killedOver); address != "" {
		if _, err := postgres.Open(context.Background(), address, postgres.Options{}); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
		os.Exit(1) // it was to be killed before
	}
	goleak.VerifyTestMain(m)
}

// TestKillInsideMigrations brings a database of the first schema up to date and
// kills the process that does it inside one of the steps, held there by a lock on
// what the step changes. What the step had done is undone, and the next start goes on.
func TestKillInsideMigrations(t *testing.T) {
	want, err := os.ReadFile("testdata/schema-1.txt")
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []struct{ lock, waiting string }{
		// The first table of the next step refers to these sites.
		{"LOCK TABLE sites IN ROW EXCLUSIVE MODE", "CREATE TABLE"},
		// A later step, after others that are done, makes an index over these reservations.
		{"LOCK TABLE reservations IN ROW EXCLUSIVE MODE", "CREATE INDEX"},
	} {
		address := restore(t, "testdata/schema-1.sql")
		killWaiting(t, address, at.lock, at.waiting)
		s := open(t, address, postgres.Options{})
		if got := storetest.Describe(t, s); got != string(want) {
			t.Errorf("%s: it holds\n%s\nand held\n%s", at.waiting, got, want)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if got, head := schemaOf(t, address), newestSchema(t); got != head {
			t.Errorf("%s: schema %d, and the head is %d", at.waiting, got, head)
		}
	}
}

// killWaiting opens the store in a process of its own while a lock is held, kills
// it once a statement that contains some words waits for the lock, and lets go.
func killWaiting(t *testing.T, address, lock, words string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	holder, err := pgx.Connect(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	defer holder.Close(ctx)
	if _, err := holder.Exec(ctx, "BEGIN; "+lock); err != nil {
		t.Fatal(err)
	}
	watcher, err := pgx.Connect(ctx, address)
	if err != nil {
		t.Fatal(err)
	}
	defer watcher.Close(ctx)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), killedOver+"="+address)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = cmd.Process.Kill() }()
	for blocked := false; !blocked; time.Sleep(5 * time.Millisecond) {
		err := watcher.QueryRow(ctx,
			`SELECT EXISTS (SELECT FROM pg_stat_activity WHERE $1 = ANY (pg_blocking_pids(pid)) AND query LIKE '%' || $2::text || '%')`,
			holder.PgConn().PID(), words).Scan(&blocked)
		if err != nil {
			t.Fatalf("nothing came to wait for %q: %v", lock, err)
		}
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err == nil || cmd.ProcessState.Exited() {
		t.Fatalf("it ended by itself: %v", err)
	}
}
