package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// screen is what a terminal was told to show.
type screen struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// watch keeps what a terminal shows until it is closed.
func (s *screen) watch(terminal *os.File) {
	part := make([]byte, 4096)
	for {
		n, err := terminal.Read(part)
		s.mu.Lock()
		s.text.Write(part[:n])
		s.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// openTerminal opens both ends of a terminal of this machine.
func openTerminal(t *testing.T) (ours, theirs *os.File) {
	t.Helper()
	ours, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no terminal can be made here: %v", err)
	}
	t.Cleanup(func() { _ = ours.Close() })
	if err := unix.IoctlSetPointerInt(int(ours.Fd()), unix.TIOCSPTLCK, 0); err != nil {
		t.Skipf("no terminal can be made here: %v", err)
	}
	number, err := unix.IoctlGetInt(int(ours.Fd()), unix.TIOCGPTN)
	if err != nil {
		t.Skipf("no terminal can be made here: %v", err)
	}
	theirs, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("no terminal can be made here: %v", err)
	}
	t.Cleanup(func() { _ = theirs.Close() })
	return ours, theirs
}

// Ctrl-C during long work ends the program with 130; the line of progress is
// taken away, the rest of the screen is left, and nothing is written, not even in
// part.
func TestInterruptStopsLongWork(t *testing.T) {
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	tools, folder := t.TempDir(), t.TempDir()
	binary := filepath.Join(tools, "bowroll") // the test binary is the program when it goes by its name
	if err := os.Symlink(self, binary); err != nil {
		t.Fatal(err)
	}
	cycle := filepath.Join(tools, "long.yaml")
	if err := os.WriteFile(cycle, longCycle(t), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, args := range map[string][]string{
		"plan": {"plan", cycle, "--prices", "--nodes", "1000000", "--sheet", "sheet.pdf", "--cards", "cards.pdf"},
		"wind table": {"wind", "--table", "--deck", "sites/varrow/decks/main", "--booster-type", "emberlin-6", "--grain-temperature", "68 degF",
			"--masses", "9,500 lb to 14,500 lb by 20 lb", "--aircraft-type", "halbrook", "--temperatures", "32 degF to 104 degF by 9 degF",
			"--pressure", "29.92 inHg", "--csv", "winds.csv", "--chart", "winds.svg"},
	} {
		t.Run(name, func(t *testing.T) {
			ours, theirs := openTerminal(t)
			command := exec.Command(binary, append(args, "--timeout", "120s")...)
			command.Dir, command.Stderr = folder, theirs
			var answer bytes.Buffer
			command.Stdout = &answer
			var seen screen
			go seen.watch(ours)
			if err := command.Start(); err != nil {
				t.Fatal(err)
			}
			for deadline := time.Now().Add(time.Minute); !strings.Contains(seen.String(), "Ctrl-C stops"); time.Sleep(20 * time.Millisecond) {
				if time.Now().After(deadline) {
					_ = command.Process.Kill()
					t.Fatalf("no progress was shown: %q", seen.String())
				}
			}
			if err := command.Process.Signal(syscall.SIGINT); err != nil {
				t.Fatal(err)
			}
			ended := make(chan error, 1)
			began := time.Now()
			go func() { ended <- command.Wait() }()
			select {
			case <-ended:
			case <-time.After(20 * time.Second): // a program that hangs, not one that is slow
				_ = command.Process.Kill()
				t.Fatal("it does not stop")
			}
			t.Logf("stopped after %v", time.Since(began))
			if code := command.ProcessState.ExitCode(); code != exitStopped {
				t.Errorf("exit code %d, want %d: %q", code, exitStopped, seen.String())
			}
			want := "\r\x1b[Kbowroll: stopped; nothing was changed\r\n"
			for deadline := time.Now().Add(5 * time.Second); !strings.HasSuffix(seen.String(), want); time.Sleep(20 * time.Millisecond) {
				if time.Now().After(deadline) {
					t.Fatalf("the screen ends with %q, want %q", seen.String(), want)
				}
			}
			if answer.Len() > 0 {
				t.Errorf("an answer was begun: %q", answer.String())
			}
			left, err := os.ReadDir(folder)
			if err != nil {
				t.Fatal(err)
			}
			if len(left) > 0 {
				t.Errorf("%d files were left behind, the first is %s", len(left), left[0].Name())
			}
		})
	}
}

// longCycle is the dawn launch with its sorties many times over.
func longCycle(t *testing.T) []byte {
	t.Helper()
	source, err := os.ReadFile("../../../testdata/cycles/dawn.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var out, sorties []string
	for _, line := range strings.Split(string(source), "\n") {
		if out = append(out, line); strings.HasPrefix(line, "  - {id: ") && strings.Contains(line, "launch: ") {
			sorties = append(sorties, line)
		}
		if strings.Contains(line, "id: dune-2,") {
			for n := range 15 {
				for _, s := range sorties {
					more := strings.Replace(s, "- {id: ", fmt.Sprintf("- {id: again-%d-", n), 1)
					before, after, _ := strings.Cut(more, "launch: ")
					_, after, _ = strings.Cut(after, " min")
					out = append(out, fmt.Sprintf("%slaunch: %d min%s", before, 50+10*n, after))
				}
			}
		}
	}
	return []byte(strings.Join(out, "\n"))
}
