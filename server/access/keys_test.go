package access_test

import (
	"context"
	"crypto/rand"
	"crypto/rsa"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bowroll/server/access"
)

func TestKeysAreReplaced(t *testing.T) {
	old, next := newKey(t, "old"), newKey(t, "new")
	g, path := newGuard(t, newClock(), keySet(t, old.public()))
	tokens := map[string]string{"old": old.token(t, nil), "new": next.token(t, nil)}
	try := func(k key, good bool) {
		t.Helper()
		if _, err := g.Identify(carrying(tokens[k.id])); (err == nil) != good {
			t.Errorf("%s: %v", k.id, err)
		}
	}
	try(old, true)
	try(next, false)
	write(t, path, keySet(t, old.public(), next.public()))
	if err := g.Refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	try(old, true)
	try(next, true)
	// What cannot be read leaves in use what was.
	for _, text := range []string{"", "{", `{"keys": []}`, `{"keys": [{"kty": "oct", "k": "c2VjcmV0", "kid": "s"}]}`} {
		write(t, path, []byte(text))
		if err := g.Refresh(t.Context()); err == nil || !strings.Contains(err.Error(), path) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := g.Refresh(t.Context()); err == nil {
		t.Error("no file is no error")
	}
	try(next, true)
	write(t, path, keySet(t, next.public()))
	if err := g.Refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	try(old, false) // though its token was taken before
	try(next, true)
}

func TestWeakKeysAreRefused(t *testing.T) {
	t.Setenv("GODEBUG", "rsa1024min=0")
	weak, err := rsa.GenerateKey(rand.Reader, 1024)
	if err != nil {
		t.Fatal(err)
	}
	k := newKey(t, "one")
	g, path := newGuard(t, newClock(), keySet(t, k.public()))
	for name, keys := range map[string][]byte{
		"1024 bits":  keySet(t, jose.JSONWebKey{Key: &weak.PublicKey, KeyID: "weak"}),
		"one twice":  keySet(t, k.public(), k.public()),
		"encryption": keySet(t, jose.JSONWebKey{Key: k.private.Public(), KeyID: "one", Use: "enc"}),
	} {
		write(t, path, keys)
		if err := g.Refresh(t.Context()); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

// TestAnIssuerThatIsSlowHoldsUpNobody reads keys over HTTP: calls are answered
// while the issuer hangs, and a key that it makes is asked for by itself.
func TestAnIssuerThatIsSlowHoldsUpNobody(t *testing.T) {
	old, next := newKey(t, "old"), newKey(t, "new")
	var answer atomic.Pointer[[]byte]
	first := keySet(t, old.public())
	answer.Store(&first)
	asked, hang := make(chan struct{}, 10), make(chan struct{})
	var slow atomic.Bool
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked <- struct{}{}
		if slow.Load() {
			select {
			case <-hang:
			case <-r.Context().Done():
			}
		}
		_, _ = w.Write(*answer.Load())
	}))
	defer web.Close()
	g, err := access.New(access.Config{Issuers: []access.IssuerConfig{{Issuer: issuerName, Audience: audience, Keys: web.URL}}},
		newClock().now, prometheus.NewRegistry())
	if err != nil {
		t.Fatal(err)
	}
	// Before keys were read nobody can be told apart: that is not the caller's fault.
	if _, err := g.Identify(carrying(old.token(t, nil))); status.Code(err) != codes.Unavailable {
		t.Errorf("without keys: %v", err)
	}
	if err := g.Refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	<-asked
	ctx, cancel := context.WithCancel(context.Background())
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		g.Watch(ctx, func(error) {})
	}()
	slow.Store(true)
	second := keySet(t, old.public(), next.public())
	answer.Store(&second)
	if _, err := g.Identify(carrying(next.token(t, nil))); status.Code(err) != codes.Unauthenticated {
		t.Errorf("a key not known yet: %v", err)
	}
	<-asked // by itself, and it hangs
	for range 100 {
		if _, err := g.Identify(carrying(old.token(t, nil))); err != nil {
			t.Fatal(err)
		}
		_, _ = g.Identify(carrying(next.token(t, nil)))
	}
	close(hang)
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		if _, err := g.Identify(carrying(next.token(t, nil))); err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the new key never came")
		}
	}
	if len(asked) != 0 {
		t.Errorf("the issuer was asked %d times more", len(asked))
	}
	cancel()
	<-watched
}

func TestAnIssuerThatSendsElsewhereOrTooMuchIsRefused(t *testing.T) {
	k := newKey(t, "one")
	keys := keySet(t, k.public())
	mux := http.NewServeMux()
	mux.HandleFunc("/keys", func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write(keys) })
	mux.Handle("/moved", http.RedirectHandler("/keys", http.StatusFound))
	mux.HandleFunc("/much", func(w http.ResponseWriter, _ *http.Request) {
		_, _ = w.Write([]byte(strings.Repeat(" ", 1<<20)))
		_, _ = w.Write(keys)
	})
	web := httptest.NewServer(mux)
	defer web.Close()
	for path, good := range map[string]bool{"/keys": true, "/moved": false, "/much": false, "/none": false} {
		g, err := access.New(access.Config{Issuers: []access.IssuerConfig{{Issuer: issuerName, Audience: audience, Keys: web.URL + path}}},
			newClock().now, prometheus.NewRegistry())
		if err != nil {
			t.Fatal(err)
		}
		if err := g.Refresh(t.Context()); (err == nil) != good {
			t.Errorf("%s: %v", path, err)
		}
	}
}
