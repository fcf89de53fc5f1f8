package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// longSweep is long enough to be stopped between its parts.
const longSweep = `id: long
case: {aircraft_type: corvane, flap: takeoff, air: {pressure: 29.92 inHg, temperature: 59 degF}, deck: sites/varrow/decks/main, spot: s6}
axes:
  - {field: gross_mass, from: "11,000 lb", to: "14,000 lb", count: 400}
  - {field: headwind, from: 0 kt, to: 30 kt, count: 500}
method: grid
columns: [run_m]
`

// Ctrl-C leaves a sweep of the program's own store where it is; the next watch goes
// on, and every row is there once.
func TestInterruptLeavesASweepToGoOn(t *testing.T) {
	if testing.Short() {
		t.Skip("computes 200 000 rows")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	binary, file := filepath.Join(folder, "bowroll"), filepath.Join(folder, "long.yaml")
	if err := os.Symlink(self, binary); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(longSweep), 0o600); err != nil {
		t.Fatal(err)
	}
	command := func(args ...string) *exec.Cmd {
		c := exec.Command(binary, append([]string{"--store", filepath.Join(folder, "varrow.db"), "sweep"}, args...)...)
		c.Dir = folder
		return c
	}
	run := func(args ...string) string {
		t.Helper()
		out, err := command(args...).CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	run("start", file, "--queue", "--actor", "quill")
	ours, theirs := openTerminal(t)
	watch := command("watch", "varrow", "long", "--workers", "1")
	watch.Stderr = theirs
	var seen screen
	go seen.watch(ours)
	if err := watch.Start(); err != nil {
		t.Fatal(err)
	}
	// The bar appears with the first part that is done.
	for deadline := time.Now().Add(time.Minute); !strings.Contains(seen.String(), "[#"); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			_ = watch.Process.Kill()
			t.Fatalf("no progress was shown: %q", seen.String())
		}
	}
	if err := watch.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	_ = watch.Wait() // its code is looked at below
	t.Logf("the screen: %q", seen.String())
	if code := watch.ProcessState.ExitCode(); code != exitStopped {
		t.Errorf("exit code %d, want %d", code, exitStopped)
	}
	const want = "what was computed is kept; bowroll sweep watch varrow long goes on with the rest\r\n"
	for deadline := time.Now().Add(5 * time.Second); !strings.HasSuffix(seen.String(), want); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("the screen ends with %q, want %q", seen.String(), want)
		}
	}
	if shown := run("show", "varrow", "long"); !strings.Contains(shown, "State       running") {
		t.Errorf("after the stop it shows\n%s", shown)
	}
	if shown := run("watch", "varrow", "long"); !strings.Contains(shown, "200,000 of 200,000 rows") {
		t.Errorf("at the end it shows\n%s", shown)
	}
	run("read", "varrow", "long", "long.csv")
	rows, err := os.ReadFile(filepath.Join(folder, "long.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := bytes.Split(bytes.TrimSuffix(rows, []byte("\n")), []byte("\n"))[1:]
	if len(lines) != 200_000 {
		t.Fatalf("the file has %d rows", len(lines))
	}
	for i, line := range lines {
		if !bytes.HasPrefix(line, fmt.Appendf(nil, "%d,", i)) {
			t.Fatalf("line %d is %s", i, line)
		}
	}
}
