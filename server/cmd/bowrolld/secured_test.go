package main

import (
	"context"
	"crypto/tls"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"
	"go.yaml.in/yaml/v3"

	"bowroll/server/certs/certstest"
)

// secrets writes a certificate, its key, its authority and an access file.
func secrets(t *testing.T) (a *certstest.Authority, certificate, key, clients, access string) {
	t.Helper()
	dir := t.TempDir()
	a = certstest.New(t, "authority")
	certificate, key = filepath.Join(dir, "tls.crt"), filepath.Join(dir, "tls.key")
	clients, access = filepath.Join(dir, "ca.crt"), filepath.Join(dir, "access.yaml")
	certstest.Write(t, a.Issue(t, certstest.Leaf{CommonName: "bowrolld"}), certificate, key)
	for path, text := range map[string]string{clients: string(a.PEM()), access: "certificates:\n  cn:watch: [\"reader@*\"]\n"} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return a, certificate, key, clients, access
}

func TestWhatIsOpenToOthersMustBeSecured(t *testing.T) {
	_, certificate, key, clients, access := secrets(t)
	encrypted := []string{"--tls-certificate", certificate, "--tls-key", key}
	asked := []string{"--access", access, "--tls-clients", clients}
	open := []string{"--grpc", "0.0.0.0:0"}
	for _, c := range []struct {
		name    string
		args    [][]string
		code    int
		phrases []string
	}{
		{"neither", [][]string{open}, 2, []string{"without --tls-certificate and --access", "--insecure"}},
		{"encryption alone", [][]string{open, encrypted}, 2, []string{"without --access"}},
		{"both", [][]string{open, encrypted, asked, {"--admin", "0.0.0.0:0"}}, 0, nil},
		{"neither, insecure", [][]string{open, {"--insecure"}}, 0, nil},
		{"insecure does not open the admin address", [][]string{open, encrypted, {"--insecure", "--admin", "0.0.0.0:0"}}, 2, []string{"--admin is"}},
		{"halves", [][]string{{"--tls-key", key, "--tls-clients", clients, "--burst", "3", "--rate", "0", "--calls=-1"}}, 2,
			[]string{"--tls-key is given: so must be --tls-certificate", "--tls-clients is given: so must be --tls-certificate", "so must be --access", "--burst is given", "--calls is -1"}},
		{"a certificate without its key", [][]string{{"--tls-certificate", certificate}}, 2, []string{"so must be --tls-key"}},
		{"names nobody signs", [][]string{encrypted, {"--access", access}}, 1, []string{"--tls-clients must say who signs"}},
		{"faults of files, all at once", [][]string{{"--tls-certificate", "/no/such.crt", "--tls-key", key, "--access", certificate}}, 1, []string{"/no/such.crt", "--access " + certificate}},
	} {
		args := []string{"config", "check"}
		for _, more := range c.args {
			args = append(args, more...)
		}
		code, _, errs := program(t, nil, args...)
		if code != c.code {
			t.Errorf("%s: exit %d: %s", c.name, code, errs)
		}
		for _, phrase := range c.phrases {
			if !strings.Contains(errs, phrase) {
				t.Errorf("%s: %q is not in %q", c.name, phrase, errs)
			}
		}
	}
	if err := os.Chmod(key, 0o644); err != nil {
		t.Fatal(err)
	}
	code, _, errs := program(t, nil, append([]string{"config", "check"}, encrypted...)...)
	if code != 1 || !strings.Contains(errs, "0644") {
		t.Errorf("a key open to all: exit %d: %s", code, errs)
	}
}

// serving runs bowrolld until stop is called and returns its JSON address.
func serving(t *testing.T, args ...string) (address string, errs *log, stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	errs = &log{}
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, append([]string{"--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0"}, args...), os.LookupEnv, io.Discard, errs)
	}()
	ready := regexp.MustCompile(`"ready","grpc":"[^"]+","http":"([^"]+)"`)
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if found := ready.FindStringSubmatch(errs.String()); found != nil {
			address = found[1]
			break
		}
		if time.Now().After(deadline) {
			cancel()
			t.Fatalf("not ready: %s", errs.String())
		}
	}
	return address, errs, func() {
		cancel()
		if code := <-ended; code != 0 {
			t.Errorf("exit %d: %s", code, errs.String())
		}
	}
}

func TestServeSecured(t *testing.T) {
	a, certificate, key, clients, access := secrets(t)
	address, errs, stop := serving(t, "--tls-certificate", certificate, "--tls-key", key, "--tls-clients", clients, "--access", access, "--rate", "100")
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: a.Pool()}}
	client := &http.Client{Transport: transport}
	for path, code := range map[string]int{"/readyz": 200, "/v1/aircraftTypes": 401} {
		answer, err := client.Get("https://" + address + path)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close()
		if answer.StatusCode != code {
			t.Errorf("%s: %d", path, answer.StatusCode)
		}
	}
	transport.CloseIdleConnections()
	stop()
	if text := errs.String(); strings.Contains(text, "INSECURE") || strings.Contains(text, "without asking") || !strings.Contains(text, `"denied"`) {
		t.Error(text)
	}
}

func TestBeingOpenIsSaidLoudly(t *testing.T) {
	_, certificate, key, _, _ := secrets(t)
	for phrase, args := range map[string][]string{
		"without encryption and without asking who calls": {"--insecure"},
		"INSECURE: serving without asking who calls":      {"--insecure", "--tls-certificate", certificate, "--tls-key", key},
		"serving this machine without asking":             nil,
	} {
		_, errs, stop := serving(t, args...)
		stop()
		if !strings.Contains(errs.String(), `"level":"warn"`) || !strings.Contains(errs.String(), phrase) {
			t.Errorf("%q is not in %s", phrase, errs.String())
		}
	}
}

func TestTheTableIsPrinted(t *testing.T) {
	code, out, _ := program(t, nil, "access")
	if code != 0 || !strings.Contains(out, "| Stock.MoveUnits | armament | at the site |") {
		t.Error(code, out)
	}
}

// TestDeployedSettingsAreSettings holds the files of deploy/ against the flags.
func TestDeployedSettingsAreSettings(t *testing.T) {
	for _, path := range []string{"kubernetes/base/bowrolld.yaml", "systemd/bowrolld.yaml"} {
		text, err := os.ReadFile(filepath.Join("../../../deploy", path))
		if err != nil {
			t.Fatal(err)
		}
		parser, err := kong.New(&commands{}, kong.Vars{})
		if err != nil {
			t.Fatal(err)
		}
		load := fileLoader(func(string) (string, bool) { return "", false }, func() []*kong.Flag { return settable(parser.Model) })
		if _, err := load(strings.NewReader(string(text))); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		// Apart from files that only the place of deployment has, they hold.
		var settings map[string]any
		if err := yaml.Unmarshal(text, &settings); err != nil {
			t.Fatal(err)
		}
		_, certificate, key, clients, access := secrets(t)
		for name, file := range map[string]string{"tls-certificate": certificate, "tls-key": key, "tls-clients": clients, "access": access} {
			settings[name] = file
		}
		changed, err := yaml.Marshal(settings)
		if err != nil {
			t.Fatal(err)
		}
		if code, _, errs := program(t, nil, "config", "check", "--config", write(t, "bowrolld.yaml", string(changed))); code != 0 {
			t.Errorf("%s: exit %d: %s", path, code, errs)
		}
	}
}
