package sqlite_test

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"

	"bowroll/server/store"
	"bowroll/server/store/sqlite"
	"bowroll/testdata/longer"
)

// TestMain lets the test binary be the process that is killed.
func TestMain(m *testing.M) {
	if path := os.Getenv("BOWROLL_KILL_STORE"); path != "" {
		var err error
		if left := os.Getenv("BOWROLL_KILL_CHANGE"); left != "" {
			err = dieAtChange(path, left)
		} else {
			err = victim(path, os.Getenv("BOWROLL_KILL_POINT"), os.Getenv("BOWROLL_KILL_FROM"))
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	// Nothing is left running once the stores of the tests are closed.
	goleak.VerifyTestMain(m)
}

// victim receives units from four clients at once and says each that is
// acknowledged, until it is killed. At a named point it kills itself.
func victim(path, point, from string) error {
	var calls int
	options := sqlite.Options{At: func(at string) {
		if calls++; at == point && calls > 20 {
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		}
	}}
	s, err := sqlite.Open(context.Background(), path, options)
	if err != nil {
		return err
	}
	if err := tryReceive(s, "first"); store.Is(err, store.NotFound) {
		receive(&testing.T{}, s, map[string]bool{})
	}
	fmt.Println("ready")
	var (
		wait sync.WaitGroup
		out  sync.Mutex
	)
	for client := range 4 {
		wait.Go(func() {
			for n := 0; ; n++ {
				id := fmt.Sprintf("k-%s-%d-%d", from, client, n)
				if err := tryReceive(s, id); err != nil {
					return
				}
				out.Lock()
				fmt.Println(id)
				out.Unlock()
			}
		})
	}
	wait.Wait()
	return s.Close()
}

// TestKill kills the process that writes, at random instants and at named
// points, and looks for what it had acknowledged.
func TestKill(t *testing.T) {
	cycles := 30
	switch {
	case testing.Short():
		cycles = 10
	case os.Getenv("CI") == "true":
		cycles = 200
	}
	cycles = longer.Count(t, "BOWROLL_KILL_CYCLES", cycles)
	path := filepath.Join(t.TempDir(), "bowroll.db")
	random := rand.New(rand.NewPCG(7, 7))
	points := []string{"", "", "before commit", "after commit", "begin"}
	acknowledged := map[string]bool{}
	total := 0
	for cycle := range cycles {
		// A store of its own for each 20 cycles keeps the check at opening short.
		if cycle%20 == 0 {
			path = filepath.Join(t.TempDir(), "bowroll.db")
			acknowledged = map[string]bool{}
		}
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "BOWROLL_KILL_STORE="+path, "BOWROLL_KILL_POINT="+points[cycle%len(points)], fmt.Sprintf("BOWROLL_KILL_FROM=%d", cycle))
		var complaint strings.Builder
		cmd.Stderr = &complaint
		pipe, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(pipe)
		for lines.Scan() {
			if lines.Text() == "ready" {
				time.AfterFunc(time.Duration(1+random.IntN(30))*time.Millisecond, func() { _ = cmd.Process.Kill() })
				continue
			}
			acknowledged[lines.Text()] = true
			total++
		}
		_ = cmd.Wait()
		if complaint.Len() > 0 {
			t.Fatalf("cycle %d: %s", cycle, complaint.String())
		}
		s, err := sqlite.Open(context.Background(), path, sqlite.Options{})
		if err != nil {
			t.Fatalf("cycle %d: %v", cycle, err)
		}
		var sum tally
		sum.compare(t, s, acknowledged, 0)
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if sum.lost > 0 {
			t.Fatalf("cycle %d: %+v", cycle, sum)
		}
	}
	t.Logf("%d kills, %d acknowledged, 0 lost, 0 repeated, every log and fold intact", cycles, total)
	if total == 0 {
		t.Error("nothing was acknowledged")
	}
}
