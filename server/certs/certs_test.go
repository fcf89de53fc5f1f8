package certs_test

import (
	"context"
	"crypto/tls"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/goleak"

	"bowroll/server/certs"
	"bowroll/server/certs/certstest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// folder holds a certificate, its key and the authority of clients.
func folder(t *testing.T, a *certstest.Authority, name string) certs.Files {
	t.Helper()
	dir := t.TempDir()
	files := certs.Files{Certificate: filepath.Join(dir, "tls.crt"), Key: filepath.Join(dir, "tls.key"), Clients: filepath.Join(dir, "ca.crt")}
	certstest.Write(t, a.Issue(t, certstest.Leaf{CommonName: name}), files.Certificate, files.Key)
	if err := os.WriteFile(files.Clients, a.PEM(), 0o600); err != nil {
		t.Fatal(err)
	}
	return files
}

// shake connects once and returns the name that the server shows.
func shake(t *testing.T, s *certs.Store, client *tls.Config) (string, error) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	served := make(chan error, 1)
	go func() {
		conn, err := l.Accept()
		if err != nil {
			served <- err
			return
		}
		defer conn.Close()
		inner := tls.Server(conn, s.Server(true, "h2"))
		err = inner.Handshake()
		if err == nil {
			_, err = inner.Write([]byte("x"))
		}
		served <- err
	}()
	client = client.Clone()
	client.ServerName = "localhost"
	conn, err := tls.Dial("tcp", l.Addr().String(), client)
	name := ""
	if err == nil {
		name = conn.ConnectionState().PeerCertificates[0].Subject.CommonName
		_, err = conn.Read(make([]byte, 1)) // where a client's certificate is refused
		conn.Close()
	}
	<-served
	return name, err
}

func TestCertificatesAreReadAgain(t *testing.T) {
	a := certstest.New(t, "authority")
	files := folder(t, a, "first")
	s, err := certs.Open(files)
	if err != nil {
		t.Fatal(err)
	}
	client := &tls.Config{RootCAs: a.Pool()}
	// look refreshes, and holds what it says and what the server shows then.
	look := func(wantChanged bool, wantFault, wantName string) {
		t.Helper()
		changed, err := s.Refresh()
		if changed != wantChanged || (err == nil) != (wantFault == "") || err != nil && !strings.Contains(err.Error(), wantFault) {
			t.Errorf("changed %v, %v", changed, err)
		}
		if name, err := shake(t, s, client); name != wantName || err != nil {
			t.Errorf("the server shows %q, want %q: %v", name, wantName, err)
		}
	}
	look(false, "", "first")
	certstest.Write(t, a.Issue(t, certstest.Leaf{CommonName: "second"}), files.Certificate, files.Key)
	older := time.Unix(0, 0)
	for _, path := range []string{files.Certificate, files.Key} { // times say nothing
		if err := os.Chtimes(path, older, older); err != nil {
			t.Fatal(err)
		}
	}
	look(true, "", "second")
	look(false, "", "second")
	// A key that does not fit and a key open to all leave in use what there was.
	other := filepath.Join(t.TempDir(), "other.crt")
	certstest.Write(t, a.Issue(t, certstest.Leaf{CommonName: "third"}), other, files.Key)
	look(false, files.Key, "second")
	if err := os.Chmod(files.Key, 0o604); err != nil {
		t.Fatal(err)
	}
	look(false, "0604", "second")
	if err := os.Chmod(files.Key, 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(other, files.Certificate); err != nil {
		t.Fatal(err)
	}
	look(true, "", "third")
}

// TestNewsAndFaultsAreToldOnce ticks by hand; a tick is taken only when the one
// before is done with.
func TestNewsAndFaultsAreToldOnce(t *testing.T) {
	a := certstest.New(t, "authority")
	files := folder(t, a, "first")
	s, err := certs.Open(files)
	if err != nil {
		t.Fatal(err)
	}
	watch := func() (told []error) {
		ctx, cancel := context.WithCancel(t.Context())
		tick, ended := make(chan time.Time), make(chan struct{})
		go func() {
			defer close(ended)
			s.Watch(ctx, tick, func(err error) { told = append(told, err) })
		}()
		for range 3 {
			tick <- time.Time{}
		}
		cancel()
		<-ended
		return told
	}
	if told := watch(); len(told) != 0 {
		t.Errorf("nothing changed, told %v", told)
	}
	certstest.Write(t, a.Issue(t, certstest.Leaf{CommonName: "second"}), files.Certificate, files.Key)
	if told := watch(); len(told) != 1 || told[0] != nil {
		t.Errorf("new files, told %v", told)
	}
	if err := os.Remove(files.Key); err != nil {
		t.Fatal(err)
	}
	if told := watch(); len(told) != 1 || told[0] == nil {
		t.Errorf("no key, told %v", told)
	}
}

func TestTheFaultsOfFilesAreListedTogether(t *testing.T) {
	a := certstest.New(t, "authority")
	files := folder(t, a, "first")
	if err := os.WriteFile(files.Clients, []byte("no certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(files.Certificate, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := certs.Open(files)
	for _, phrase := range []string{files.Certificate, files.Clients + " holds no certificate"} {
		if err == nil || !strings.Contains(err.Error(), phrase) {
			t.Errorf("%q is not in %v", phrase, err)
		}
	}
	files = folder(t, a, "first")
	if err := os.Chmod(files.Key, 0o644); err != nil {
		t.Fatal(err)
	}
	files.Clients = filepath.Join(t.TempDir(), "none")
	_, err = certs.Open(files)
	for _, phrase := range []string{"chmod o=", files.Clients} {
		if err == nil || !strings.Contains(err.Error(), phrase) {
			t.Errorf("%q is not in %v", phrase, err)
		}
	}
}

func TestWhoMayConnect(t *testing.T) {
	ours, theirs := certstest.New(t, "ours"), certstest.New(t, "theirs")
	s, err := certs.Open(folder(t, ours, "server"))
	if err != nil {
		t.Fatal(err)
	}
	with := func(c tls.Certificate) []tls.Certificate { return []tls.Certificate{c} }
	for name, c := range map[string]struct {
		client *tls.Config
		good   bool
	}{
		"no certificate":       {&tls.Config{RootCAs: ours.Pool()}, true},
		"one of ours":          {&tls.Config{RootCAs: ours.Pool(), Certificates: with(ours.Issue(t, certstest.Leaf{CommonName: "a"}))}, true},
		"one that ended":       {&tls.Config{RootCAs: ours.Pool(), Certificates: with(ours.Issue(t, certstest.Leaf{CommonName: "a", Ends: time.Now().Add(-time.Minute)}))}, false},
		"TLS 1.2":              {&tls.Config{RootCAs: ours.Pool(), MaxVersion: tls.VersionTLS12}, false},
		"a client that doubts": {&tls.Config{RootCAs: theirs.Pool()}, false},
	} {
		if _, err := shake(t, s, c.client); (err == nil) != c.good {
			t.Errorf("%s: %v", name, err)
		}
	}
	// A client sends a stranger's certificate only where it is made to.
	stranger := theirs.Issue(t, certstest.Leaf{CommonName: "a"})
	forced := &tls.Config{RootCAs: ours.Pool(), GetClientCertificate: func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &stranger, nil }}
	if _, err := shake(t, s, forced); err == nil {
		t.Error("a stranger's certificate is taken")
	}
}

func TestTheEndOfTheCertificateIsMeasured(t *testing.T) {
	a := certstest.New(t, "authority")
	files := folder(t, a, "first")
	ends := time.Date(2040, 1, 2, 3, 4, 5, 0, time.UTC)
	certstest.Write(t, a.Issue(t, certstest.Leaf{CommonName: "x", Ends: ends}), files.Certificate, files.Key)
	s, err := certs.Open(files)
	if err != nil {
		t.Fatal(err)
	}
	if got := testutil.ToFloat64(s); got != float64(ends.Unix()) {
		t.Errorf("%v, want %v", got, ends.Unix())
	}
}
