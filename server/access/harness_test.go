package access_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc/metadata"

	"bowroll/server/access"
)

const (
	issuerName = "https://sign-in.fleet.example"
	audience   = "bowroll"
)

// noon is when the tests are.
var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

// clock is a clock that tests turn.
type clock struct{ at atomic.Int64 }

func newClock() *clock {
	c := &clock{}
	c.set(noon)
	return c
}

func (c *clock) set(t time.Time) { c.at.Store(t.UnixNano()) }
func (c *clock) now() time.Time  { return time.Unix(0, c.at.Load()) }

// key is a signing key with an id.
type key struct {
	id      string
	private *ecdsa.PrivateKey
}

func newKey(t testing.TB, id string) key {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key{id, private}
}

func (k key) public() jose.JSONWebKey {
	return jose.JSONWebKey{Key: k.private.Public(), KeyID: k.id, Algorithm: "ES256", Use: "sig"}
}

// keySet writes the public halves as an issuer does.
func keySet(t testing.TB, keys ...any) []byte {
	t.Helper()
	text, err := json.Marshal(map[string]any{"keys": keys})
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// claims are good ones with changes; nil takes one away.
func claims(changes map[string]any) map[string]any {
	all := map[string]any{
		"iss": issuerName, "aud": audience, "sub": "watch-officer",
		"iat": noon.Unix(), "nbf": noon.Unix(), "exp": noon.Add(time.Hour).Unix(),
		"bowroll": []string{"planner@varrow", "reader@*"},
	}
	maps.Copy(all, changes)
	maps.DeleteFunc(all, func(_ string, v any) bool { return v == nil })
	return all
}

// sign makes a token.
func sign(t testing.TB, algorithm jose.SignatureAlgorithm, with any, keyID string, all map[string]any) string {
	t.Helper()
	options := (&jose.SignerOptions{}).WithType("JWT")
	if keyID != "" {
		options = options.WithHeader("kid", keyID)
	}
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: algorithm, Key: with}, options)
	if err != nil {
		t.Fatal(err)
	}
	token, err := jwt.Signed(signer).Claims(all).Serialize()
	if err != nil {
		t.Fatal(err)
	}
	return token
}

func (k key) token(t testing.TB, changes map[string]any) string {
	t.Helper()
	return sign(t, jose.ES256, k.private, k.id, claims(changes))
}

// write puts text into a file.
func write(t testing.TB, path string, text []byte) {
	t.Helper()
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
}

// guard knows one issuer, whose keys are in a file, and two certificates.
func newGuard(t testing.TB, c *clock, keys []byte) (*access.Guard, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "keys.json")
	write(t, path, keys)
	g, err := access.New(access.Config{
		Issuers: []access.IssuerConfig{{Issuer: issuerName, Audience: audience, Keys: path}},
		Certificates: map[string][]string{
			"spiffe://fleet.example/varrow/planning": {"planner@varrow"},
			"cn:analyst-7":                           {"reader@*"},
		},
	}, c.now, prometheus.NewRegistry())
	if err != nil {
		t.Fatal(err)
	}
	if err := g.Refresh(t.Context()); err != nil {
		t.Fatal(err)
	}
	return g, path
}

// carrying is a call that carries a token.
func carrying(token string) context.Context {
	return metadata.NewIncomingContext(context.Background(), metadata.Pairs("authorization", "Bearer "+token))
}
