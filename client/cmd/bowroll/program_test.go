package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"bowroll/client"
)

// run carries out one command line on a service that start makes.
func run(ctx context.Context, start client.Starter, args ...string) (code int, stdout, stderr string) {
	var out, complaints bytes.Buffer
	p := &program{stdin: strings.NewReader(""), stdout: &out, stderr: &complaints, getenv: func(string) string { return "" }, start: start}
	code = p.run(ctx, args)
	return code, out.String(), complaints.String()
}

func TestStoppedWhileWaiting(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	code, stdout, stderr := run(ctx, func(ctx context.Context) (*grpc.ClientConn, func(), error) {
		stop() // as Ctrl-C does
		<-ctx.Done()
		return nil, nil, ctx.Err()
	}, "model")
	if code != exitStopped || stdout != "" || stderr != "bowroll: stopped; nothing was changed\n" {
		t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
	}
}

func TestNothingIsSaidWhereNobodyWatches(t *testing.T) {
	var complaints bytes.Buffer
	p := &program{stderr: &complaints}
	p.line.Timeout = time.Second
	p.waiting(newReport("planning"))()
	if complaints.Len() > 0 {
		t.Errorf("progress was written to what is no terminal: %q", complaints.String())
	}
}

func TestFilesThatAreTooLong(t *testing.T) {
	name := filepath.Join(t.TempDir(), "long.yaml")
	if err := os.WriteFile(name, bytes.Repeat([]byte("# long\n"), longest/7+1), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, stderr := run(t.Context(), nil, "plan", name)
	if code != exitBadInput || !strings.Contains(stderr, "longer than 4 MiB") {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
}

func TestEveryFlagOfACaseIsAKeyOfIt(t *testing.T) {
	for path, flag := range casePaths() {
		code, _, stderr := run(t.Context(), nil, "roll", flag, "?")
		if code != exitBadInput || strings.Contains(stderr, "is no key here") || !strings.Contains(stderr, "\n"+flag+" ") && !strings.HasPrefix(stderr, flag+" ") && !textual(path) {
			t.Errorf("%s sets %s, which a case does not have, or says nothing of a wrong value:\n%s", flag, path, stderr)
		}
	}
}

// textual reports whether any text is a value, as far as this program can tell.
func textual(path string) bool {
	switch path {
	case "aircraft_type", "flap", "deck", "spot", "boosters.booster_type":
		return true
	}
	return false
}
