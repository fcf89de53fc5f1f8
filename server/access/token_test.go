package access_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"bowroll/server/access"
	"bowroll/testdata/mutate"
)

func TestATokenGivesItsGrants(t *testing.T) {
	k := newKey(t, "one")
	g, _ := newGuard(t, newClock(), keySet(t, k.public()))
	for name, claim := range map[string]any{
		"a list":             []string{"planner@varrow", "reader@*", "admin@*", "planner@Varrow", "other-service"},
		"words":              "planner@varrow  reader@* launch",
		"a list given twice": []string{"planner@varrow", "reader@*", "reader@*"},
	} {
		who, err := g.Identify(carrying(k.token(t, map[string]any{"bowroll": claim})))
		if err != nil || who.Name != "watch-officer" || len(who.Grants) != 2 ||
			!who.May(access.Planner, "varrow") || who.May(access.Planner, "skarn") || !who.May(access.Reader, "skarn") || who.May(access.Armament, "") {
			t.Errorf("%s: %v %v", name, who, err)
		}
	}
	for _, claim := range []any{nil, 7, map[string]any{"planner@varrow": true}, []any{1, true}, ""} {
		who, err := g.Identify(carrying(k.token(t, map[string]any{"bowroll": claim})))
		if err != nil || len(who.Grants) != 0 {
			t.Errorf("%v gives %v %v", claim, who, err)
		}
	}
}

func TestForgedTokensAreRefused(t *testing.T) {
	k, stranger := newKey(t, "one"), newKey(t, "one")
	rsaKey, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	rsaPublic := jose.JSONWebKey{Key: &rsaKey.PublicKey, KeyID: "rsa", Use: "sig", Algorithm: "RS256"}
	secret := jose.JSONWebKey{Key: []byte("a secret of 32 bytes or even more"), KeyID: "secret", Algorithm: "HS256"}
	g, _ := newGuard(t, newClock(), keySet(t, k.public(), rsaPublic, secret))

	der, err := x509.MarshalPKIXPublicKey(&rsaKey.PublicKey)
	if err != nil {
		t.Fatal(err)
	}
	asPEM := pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})
	n := rsaKey.PublicKey.N.Bytes()
	part := func(v any) string {
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		return base64.RawURLEncoding.EncodeToString(text)
	}
	good := k.token(t, nil)
	pieces := strings.Split(good, ".")
	p384, err := ecdsa.GenerateKey(elliptic.P384(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	for name, token := range map[string]string{
		"algorithm none":                      part(map[string]any{"alg": "none", "typ": "JWT"}) + "." + part(claims(nil)) + ".",
		"algorithm None with a kid":           part(map[string]any{"alg": "None", "kid": "one"}) + "." + part(claims(nil)) + ".",
		"algorithm none, old signature":       part(map[string]any{"alg": "none", "kid": "one"}) + "." + pieces[1] + "." + pieces[2],
		"the public key as a secret, PEM":     sign(t, jose.HS256, asPEM, "rsa", claims(nil)),
		"the public key as a secret, DER":     sign(t, jose.HS256, der, "rsa", claims(nil)),
		"the public key as a secret, modulus": sign(t, jose.HS256, n, "rsa", claims(nil)),
		"a secret of the set":                 sign(t, jose.HS256, secret.Key, "secret", claims(nil)),
		"another algorithm than the key's":    sign(t, jose.PS256, rsaKey, "rsa", claims(nil)),
		"a key of another curve":              sign(t, jose.ES384, p384, "one", claims(nil)),
		"a stranger's key under a known id":   stranger.token(t, nil),
		"an id that is not known":             sign(t, jose.ES256, k.private, "two", claims(nil)),
		"no id where there are several keys":  sign(t, jose.ES256, k.private, "", claims(nil)),
		"another issuer":                      k.token(t, map[string]any{"iss": issuerName + "/"}),
		"no issuer":                           k.token(t, map[string]any{"iss": nil}),
		"another audience":                    k.token(t, map[string]any{"aud": []string{"stores", "Bowroll"}}),
		"no audience":                         k.token(t, map[string]any{"aud": nil}),
		"no subject":                          k.token(t, map[string]any{"sub": nil}),
		"no end":                              k.token(t, map[string]any{"exp": nil}),
		"an end that is text":                 k.token(t, map[string]any{"exp": "never"}),
		"claims changed, signature kept":      pieces[0] + "." + part(claims(map[string]any{"bowroll": "custodian@*"})) + "." + pieces[2],
		"signature cut":                       good[:len(good)-4],
		"two parts":                           pieces[0] + "." + pieces[1],
		"five parts":                          good + ".a.b",
		"empty":                               "",
		"words":                               "not a token",
		"a key of its own in the header":      part(map[string]any{"alg": "ES256", "jwk": stranger.public()}) + "." + pieces[1] + "." + pieces[2],
		"a header that must be understood":    part(map[string]any{"alg": "ES256", "kid": "one", "crit": []string{"x"}, "x": 1}) + "." + pieces[1] + "." + pieces[2],
	} {
		who, err := g.Identify(carrying(token))
		if status.Code(err) != codes.Unauthenticated || who.Name != "" {
			t.Errorf("%s: %v %v", name, who, err)
		}
		for _, piece := range strings.Split(token, ".") {
			if len(piece) > 8 && strings.Contains(err.Error(), piece) {
				t.Errorf("%s: the refusal repeats the token: %v", name, err)
			}
		}
	}
	for name, headers := range map[string][]string{
		"another scheme": {"authorization", "Basic " + good}, "no scheme": {"authorization", good},
		"twice": {"authorization", "Bearer " + good, "authorization", "Bearer " + good},
	} {
		_, err := g.Identify(metadata.NewIncomingContext(context.Background(), metadata.Pairs(headers...)))
		if status.Code(err) != codes.Unauthenticated {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, token := range map[string]string{"ES256": good, "RS256": sign(t, jose.RS256, rsaKey, "rsa", claims(nil))} {
		if _, err := g.Identify(carrying(token)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestTheEdgesOfTime(t *testing.T) {
	k, c := newKey(t, "one"), newClock()
	g, _ := newGuard(t, c, keySet(t, k.public()))
	end, token := noon.Add(time.Hour), k.token(t, nil)
	if _, err := g.Identify(carrying(token)); err != nil { // remembered, and judged again all the same
		t.Fatal(err)
	}
	for _, at := range []struct {
		now  time.Time
		good bool
	}{
		{noon.Add(-62 * time.Second), false}, {noon.Add(-59 * time.Second), true},
		{end.Add(59 * time.Second), true}, {end.Add(62 * time.Second), false},
		{end.AddDate(1, 0, 0), false}, {noon.AddDate(-1, 0, 0), false},
	} {
		c.set(at.now)
		_, err := g.Identify(carrying(token))
		if (err == nil) != at.good || err != nil && status.Code(err) != codes.Unauthenticated {
			t.Errorf("at %v: %v", at.now, err)
		}
	}
}

// TestWithOneKeyNoIDIsNeeded takes what small issuers send.
func TestWithOneKeyNoIDIsNeeded(t *testing.T) {
	k := newKey(t, "one")
	g, _ := newGuard(t, newClock(), keySet(t, k.public()))
	if _, err := g.Identify(carrying(sign(t, jose.ES256, k.private, "", claims(nil)))); err != nil {
		t.Error(err)
	}
}

// FuzzToken holds that no text that was not signed is an identity.
func FuzzToken(f *testing.F) {
	k := newKey(f, "one")
	g, _ := newGuard(f, newClock(), keySet(f, k.public()))
	good := k.token(f, nil)
	f.Add("eyJhbGciOiJub25lIn0.e30.")
	f.Add(good[:len(good)-1])
	f.Add("{}")
	mutate.More(f)
	f.Fuzz(func(t *testing.T, token string) {
		who, err := g.Identify(carrying(token))
		if err == nil && strings.TrimSpace(token) != good {
			t.Errorf("%q is %v", token, who)
		}
	})
}

func BenchmarkIdentify(b *testing.B) {
	k := newKey(b, "one")
	g, _ := newGuard(b, newClock(), keySet(b, k.public()))
	ctx := carrying(k.token(b, nil))
	for b.Loop() {
		if _, err := g.Identify(ctx); err != nil {
			b.Fatal(err)
		}
	}
}
