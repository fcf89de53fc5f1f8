package main

import (
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"

	"bowroll/server"
	"bowroll/server/access"
	"bowroll/server/assembly"
	"bowroll/server/certs"
	"bowroll/server/certs/certstest"
)

// secrets are an authority and what it signed, as files.
type secrets struct {
	authority        *certstest.Authority
	folder           string
	ca, server, keys string // keys is the server's
}

func newSecrets(t *testing.T) *secrets {
	t.Helper()
	s := &secrets{authority: certstest.New(t, "authority"), folder: t.TempDir()}
	s.ca = filepath.Join(s.folder, "ca.crt")
	if err := os.WriteFile(s.ca, s.authority.PEM(), 0o600); err != nil {
		t.Fatal(err)
	}
	s.server, s.keys = s.issue(t, s.authority, "bowrolld")
	return s
}

// issue writes a certificate and its key.
func (s *secrets) issue(t *testing.T, by *certstest.Authority, name string) (certificate, key string) {
	t.Helper()
	certificate, key = filepath.Join(s.folder, name+".crt"), filepath.Join(s.folder, name+".key")
	certstest.Write(t, by.Issue(t, certstest.Leaf{CommonName: name}), certificate, key)
	return certificate, key
}

// serveSecured runs a service that asks who calls, and keeps nothing beyond the test.
func serveSecured(t *testing.T, s *secrets, who access.Config) (address string) {
	t.Helper()
	held, err := certs.Open(certs.Files{Certificate: s.server, Key: s.keys, Clients: s.ca})
	if err != nil {
		t.Fatal(err)
	}
	registry := prometheus.NewRegistry()
	guard, err := access.New(who, time.Now, registry)
	if err != nil {
		t.Fatal(err)
	}
	if err := guard.ReadFiles(t.Context()); err != nil {
		t.Fatal(err)
	}
	kept, err := assembly.OpenStore(t.Context(), filepath.Join(t.TempDir(), "kept.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = kept.Close() })
	catalog, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	service, err := assembly.New(server.Config{
		GRPCAddress: "127.0.0.1:0", Grace: time.Second, Certificates: held, Access: guard,
		Log: zap.NewNop(), NewID: assembly.NewID, Registry: registry,
	}, catalog, assembly.WithStore(kept, time.Now))
	if err != nil {
		t.Fatal(err)
	}
	return running(t, service)
}

func TestAServiceThatAsksWhoCalls(t *testing.T) {
	s := newSecrets(t)
	address := serveSecured(t, s, access.Config{Certificates: map[string][]string{"cn:planner": {"reader@*"}}})
	planner, plannerKey := s.issue(t, s.authority, "planner")
	visitor, visitorKey := s.issue(t, s.authority, "visitor")
	stranger, strangerKey := s.issue(t, certstest.New(t, "another"), "stranger")
	shared := filepath.Join(s.folder, "shared.key")
	text, err := os.ReadFile(plannerKey)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(shared, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(shared, 0o640); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		said []string
	}{
		{"one it knows", []string{"--ca", s.ca, "--client-certificate", planner, "--client-key", plannerKey}, exitAnswered, nil},
		{"nobody", []string{"--ca", s.ca}, exitService, []string{"a client certificate\n", "help: --token-file, or --client-certificate and --client-key, say who calls"}},
		{"one without a grant", []string{"--ca", s.ca, "--client-certificate", visitor, "--client-key", visitorKey}, exitService, []string{"the name in the certificate is not known here"}},
		{"one that another authority signed", []string{"--timeout", "500ms", "--ca", s.ca, "--client-certificate", stranger, "--client-key", strangerKey}, exitService, []string{"no service answers", "does it take what the authority of --client-certificate signed"}},
		{"a service that nobody here trusts", []string{"--timeout", "500ms", "--client-certificate", planner, "--client-key", plannerKey}, exitService, []string{"no service answers", "unknown authority", "--ca"}},
		{"a certificate without its key", []string{"--client-certificate", planner}, exitBadInput, []string{"--client-certificate is given: so must be --client-key"}},
		{"a key without its certificate", []string{"--client-key", plannerKey}, exitBadInput, []string{"--client-key is given: so must be --client-certificate"}},
		{"every fault of the files", []string{"--ca", plannerKey, "--client-certificate", "/no/such.crt", "--client-key", shared}, exitBadInput,
			[]string{"--ca " + plannerKey + " holds no certificate", "--client-certificate: open /no/such.crt", "--client-key " + shared + " can be read by others (mode 640): chmod 600 it"}},
		{"halves that do not fit", []string{"--client-certificate", planner, "--client-key", visitorKey}, exitBadInput, []string{"--client-certificate " + planner + " with --client-key " + visitorKey}},
	} {
		t.Run(c.name, func(t *testing.T) {
			code, stdout, stderr := run(t.Context(), nil, append(c.args, "--server", address, "catalog", "list")...)
			if code != c.code || (code == exitAnswered) != strings.Contains(stdout, "corvane") {
				t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
			}
			for _, phrase := range c.said {
				if !strings.Contains(stderr, phrase) {
					t.Errorf("%q is not in %q", phrase, stderr)
				}
			}
		})
	}
}

// What does not encrypt is told from what is not there.
func TestAServiceThatDoesNotEncrypt(t *testing.T) {
	s := newSecrets(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	clear := grpc.NewServer()
	go func() { _ = clear.Serve(listener) }() // ends with Stop
	defer clear.Stop()
	code, _, stderr := run(t.Context(), nil, "--timeout", "500ms", "--server", listener.Addr().String(), "--ca", s.ca, "model")
	if code != exitService || !strings.Contains(stderr, "bowrolld needs --tls-certificate") {
		t.Errorf("exit code %d, stderr %q", code, stderr)
	}
}
