package client_test

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// Guides are pages for people whose commands and snippets are all run here.
var guides = []string{"client/OPERATIONS.md", "client/INTEGRATION.md", "client/python/ANALYSIS.md", "deploy/CUSTODY.md"}

// python is the interpreter that has pandas, which is Debian's.
const python = "/usr/bin/python3"

// TestGuides runs each guide as one script, in a folder of its own that holds
// nothing but testdata, with services on free ports in place of the usual ones.
func TestGuides(t *testing.T) {
	if testing.Short() {
		t.Skip("builds and runs the programs")
	}
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	programs := t.TempDir()
	for _, command := range []string{"./client/cmd/bowroll", "./server/cmd/bowrolld"} {
		build := exec.Command("go", "build", "-o", programs, command)
		build.Dir = root
		if out, err := build.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
	}
	for _, guide := range guides {
		t.Run(guide, func(t *testing.T) {
			t.Parallel()
			text, err := os.ReadFile(filepath.Join(root, guide))
			if err != nil {
				t.Fatal(err)
			}
			script := scriptOf(t, string(text), root)
			if strings.Contains(string(text), "```python") {
				needs(t, python, "-c", "import pandas")
			}
			if strings.Contains(string(text), "curl ") {
				needs(t, "curl", "--version")
			}
			runScript(t, script, root, programs)
		})
	}
}

// needs skips where a program is absent, and fails under CI.
func needs(t *testing.T, command ...string) {
	t.Helper()
	if err := exec.Command(command[0], command[1:]...).Run(); err == nil {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s does not run on this machine", strings.Join(command, " "))
	}
	t.Skipf("%s does not run on this machine", strings.Join(command, " "))
}

var block = regexp.MustCompile("(?ms)^```(\\w+)(?: file=(\\S+))?\n(.*?)^```$")

// scriptOf turns the blocks of a page into one script of bash, in their order.
func scriptOf(t *testing.T, page, root string) string {
	t.Helper()
	var script strings.Builder
	script.WriteString("set -euo pipefail\ntrap 'kill $(jobs -p) 2>/dev/null || true; wait' EXIT\n")
	var snippets []string
	for _, found := range block.FindAllStringSubmatch(page, -1) {
		kind, file, text := found[1], found[2], found[3]
		switch {
		case file != "":
			fmt.Fprintf(&script, "cat >%s <<'END-OF-BLOCK'\n%sEND-OF-BLOCK\n", file, text)
		case kind == "sh":
			for line := range strings.Lines(text) {
				script.WriteString(line)
				if strings.HasSuffix(line, "&\n") {
					script.WriteString("until curl -sf -o /dev/null http://127.0.0.1:8472/readyz; do kill -0 $! && sleep 0.05; done\n")
				}
			}
		case kind == "python":
			// Snippets of a page go on from one another.
			snippets = append(snippets, text)
		case kind == "go":
			fmt.Fprintf(&script, "mkdir -p snippet && cat >snippet/main.go <<'END-OF-BLOCK'\n%sEND-OF-BLOCK\n", text)
			fmt.Fprintf(&script, "at=$PWD && (cd %s && go run $at/snippet/main.go)\n", root)
		default:
			t.Fatalf("a block of kind %q: nothing runs it", kind)
		}
	}
	if len(snippets) > 0 {
		fmt.Fprintf(&script, "%s - <<'END-OF-BLOCK'\n%sEND-OF-BLOCK\n", python, strings.Join(snippets, "\n"))
	}
	return script.String()
}

func runScript(t *testing.T, script, root, programs string) {
	t.Helper()
	folder := t.TempDir()
	if err := os.Symlink(filepath.Join(root, "testdata"), filepath.Join(folder, "testdata")); err != nil {
		t.Fatal(err)
	}
	grpc, http := freeAddress(t), freeAddress(t)
	script = strings.NewReplacer("127.0.0.1:8471", grpc, "127.0.0.1:8472", http).Replace(script)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	bash := exec.CommandContext(ctx, "bash", "-c", script)
	bash.Dir = folder
	bash.Env = append(os.Environ(),
		"PATH="+programs+string(os.PathListSeparator)+os.Getenv("PATH"),
		"PYTHONPATH="+filepath.Join(root, "client", "python"), "PYTHONDONTWRITEBYTECODE=1",
		"BOWROLLD_GRPC="+grpc, "BOWROLLD_HTTP="+http)
	// A service that was left running must not hold the test.
	bash.WaitDelay = 5 * time.Second
	if out, err := bash.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// freeAddress is a loopback address on which nobody listens.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	return l.Addr().String()
}
