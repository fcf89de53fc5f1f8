package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if beChild() {
		return
	}
	goleak.VerifyTestMain(m)
}

// program runs bowrolld to its end.
func program(t *testing.T, environment map[string]string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, err bytes.Buffer
	lookup := func(name string) (string, bool) { v, ok := environment[name]; return v, ok }
	for name, value := range environment { // kong reads these itself
		t.Setenv(name, value)
	}
	code = run(context.Background(), args, lookup, &out, &err)
	return code, out.String(), err.String()
}

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestFlagsWinOverEnvironmentAndEnvironmentOverFile(t *testing.T) {
	file := write(t, "bowrolld.yaml", "grpc: 127.0.0.1:1\nhttp: 127.0.0.1:2\nadmin: 127.0.0.1:3\ngrace: 3s\norigin: [https://a.example, https://b.example]\nreflection: false\n")
	code, out, errs := program(t, map[string]string{"BOWROLLD_HTTP": "127.0.0.1:22", "BOWROLLD_ADMIN": "127.0.0.1:33"},
		"config", "check", "--config", file, "--admin", "127.0.0.1:333")
	if code != 0 {
		t.Fatal(code, errs)
	}
	for _, line := range []string{
		"grpc: 127.0.0.1:1\n", "http: 127.0.0.1:22\n", "admin: 127.0.0.1:333\n", "grace: 3s\n", "reflection: false\n",
		`origin: ["https://a.example" "https://b.example"]`, "catalog: built in\n",
	} {
		if !strings.Contains(out, line) {
			t.Errorf("%q is not in\n%s", line, out)
		}
	}
}

func TestTheDefaultsAreLoopback(t *testing.T) {
	code, out, errs := program(t, nil, "config", "check")
	if code != 0 || !strings.Contains(out, "grpc: 127.0.0.1:8471\nhttp: 127.0.0.1:8472\nadmin: none\n") || !strings.Contains(out, "insecure: false") {
		t.Error(code, out, errs)
	}
}

func TestWrongSettingsAreListedTogether(t *testing.T) {
	for _, c := range []struct {
		name    string
		args    []string
		phrases []string
	}{
		{"flags", []string{"--grpc", "nowhere", "--http", "0.0.0.0:80", "--admin", "10.0.0.1:9", "--grace", "2h", "--origin", "*", "--catalog", "/no/such/folder"},
			[]string{"--grpc is", "must be host:port", "--http is", "--insecure", "--admin is", "this machine only", "--grace is 2h0m0s", "--origin is", "--catalog is"}},
		{"insecure does not open the admin address", []string{"--insecure", "--http", "0.0.0.0:80", "--admin", "0.0.0.0:9"}, []string{"--admin is"}},
		{"an unknown flag", []string{"--grcp", "127.0.0.1:1"}, []string{"unknown flag --grcp"}},
		{"an unknown level", []string{"--log-level", "loud"}, []string{"must be one of", "debug"}},
		{"keys of the file", []string{"--config", write(t, "a.yaml", "grcp: 127.0.0.1:1\ngrace: 1s\ngrace: 2s\nhttp_address: x\n")},
			[]string{"a.yaml:1: grcp is no setting: did you mean grpc?", "a.yaml:3: grace is given twice, first in line 2", "a.yaml:4: http_address is no setting"}},
		{"values of the file", []string{"--config", write(t, "b.yaml", "grace: soon\ncores: [1]\nhttp:\nboard: perhaps\nlog-level: loud\norigin: [a, [b]]\nadmin: !!binary aGk=\n? [grpc]\n: x\n---\n")},
			[]string{`b.yaml:1: grace: expected duration but got "soon"`, "b.yaml:2: cores must be one value", "b.yaml:3: http is blank", "b.yaml:4: board: ", `b.yaml:5: log-level must be one of ["debug"`,
				"b.yaml:6: origin: each item", "b.yaml:7: admin must be", "b.yaml:8: a setting's name", "a second document"}},
		{"references in the file", []string{"--config", write(t, "e.yaml", "origin: &a [*a]\ngrpc: &b x\nhttp: *b\n<<: {admin: x}\n")},
			[]string{"e.yaml:1: origin must be", "e.yaml:2: grpc must be", "e.yaml:3: http must be", "e.yaml:4: a setting's name"}},
		{"a file that is too long", []string{"--config", write(t, "f.yaml", "grace: 8s #"+strings.Repeat("x", longestFile))}, []string{"longer than 64 KiB"}},
		{"a name of two lines", []string{"--config", write(t, "g.yaml", "\"a\\nb\": 1\n")}, []string{"g.yaml:1: a setting's name must be one word"}},
		{"a file that is not YAML", []string{"--config", write(t, "c.yaml", "a: [1\n")}, []string{"not YAML"}},
		{"a file that is a list", []string{"--config", write(t, "d.yaml", "- a\n")}, []string{"d.yaml:1: ", "key: value"}},
		{"no file", []string{"--config", "/no/such/file"}, []string{"/no/such/file"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, _, errs := program(t, nil, append([]string{"config", "check"}, c.args...)...)
			if code != 2 {
				t.Errorf("exit %d: %s", code, errs)
			}
			for _, phrase := range c.phrases {
				if !strings.Contains(errs, phrase) {
					t.Errorf("%q is not in %q", phrase, errs)
				}
			}
		})
	}
}

func TestAFaultyCatalogIsListed(t *testing.T) {
	file := write(t, "a.yaml", "aircraft_types:\n  - name: aircraftTypes/Heron\n")
	code, _, errs := program(t, nil, "config", "check", "--catalog", filepath.Dir(file))
	if code != 1 || !strings.Contains(errs, "a.yaml:2") || !strings.Contains(errs, "wing_area_m2") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

func TestHelp(t *testing.T) {
	code, out, _ := program(t, nil, "serve", "--help")
	if code != 0 || !strings.Contains(out, "--grpc") {
		t.Error(code, out)
	}
}

// log is a log that can be read while it is written.
type log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *log) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

func (l *log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func TestServe(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var errs log
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, []string{"--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0"}, os.LookupEnv, io.Discard, &errs)
	}()
	ready := regexp.MustCompile(`"ready","grpc":"([^"]+)","http":"([^"]+)"`)
	var found []string
	for deadline := time.Now().Add(10 * time.Second); found == nil; found = ready.FindStringSubmatch(errs.String()) {
		if time.Now().After(deadline) {
			t.Fatalf("not ready: %s", errs.String())
		}
		time.Sleep(5 * time.Millisecond)
	}
	client := &http.Client{Transport: &http.Transport{}}
	resp, err := client.Get("http://" + found[2] + "/v1/aircraftTypes")
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(resp.Body)
	resp.Body.Close()
	client.CloseIdleConnections()
	if err != nil || resp.StatusCode != 200 || !strings.Contains(string(text), "aircraftTypes/") {
		t.Error(resp.StatusCode, string(text), err)
	}
	cancel()
	if code := <-ended; code != 0 {
		t.Errorf("exit %d: %s", code, errs.String())
	}
	if !strings.Contains(errs.String(), `"stopped"`) {
		t.Error(errs.String())
	}
}
