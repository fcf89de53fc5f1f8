package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"

	"bowroll/server/access"
)

const tokenIssuer = "https://sign-in.fleet.example"

// signer signs tokens, as an issuer does.
type signer struct {
	key    *ecdsa.PrivateKey
	folder string
}

func newSigner(t *testing.T) signer {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return signer{key, t.TempDir()}
}

// issuer is how a service knows this one.
func (s signer) issuer(t *testing.T) access.IssuerConfig {
	t.Helper()
	text, err := json.Marshal(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: s.key.Public(), KeyID: "k"}}})
	if err != nil {
		t.Fatal(err)
	}
	return access.IssuerConfig{Issuer: tokenIssuer, Audience: "bowroll", Keys: s.file(t, "keys.json", string(text), 0o600)}
}

// file writes a file for the test.
func (s signer) file(t *testing.T, name, text string, mode os.FileMode) string {
	t.Helper()
	name = filepath.Join(s.folder, name)
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(name, mode); err != nil {
		t.Fatal(err)
	}
	return name
}

func (s signer) token(t *testing.T, who string, ends time.Duration, grants ...string) string {
	t.Helper()
	made, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: s.key}, nil)
	if err != nil {
		t.Fatal(err)
	}
	token, err := jwt.Signed(made).Claims(map[string]any{
		"iss": tokenIssuer, "aud": "bowroll", "sub": who, "exp": time.Now().Add(ends).Unix(), "bowroll": grants,
	}).Serialize()
	if err != nil {
		t.Fatal(err)
	}
	return token
}

func TestATokenSaysWhoCalls(t *testing.T) {
	s, signs := newSecrets(t), newSigner(t)
	address := serveSecured(t, s, access.Config{
		Issuers: []access.IssuerConfig{signs.issuer(t)}, Certificates: map[string][]string{"cn:planner": {"planner@varrow"}},
	})
	certificate, key := s.issue(t, s.authority, "planner")
	text := signs.token(t, "watch-officer", time.Hour, "reader@varrow")
	reader := signs.file(t, "reader", "\n"+text+" \n", 0o600)
	ended := signs.file(t, "ended", signs.token(t, "watch-officer", -time.Hour, "reader@varrow"), 0o400)
	shared := signs.file(t, "shared", text, 0o644)
	headed := signs.file(t, "headed", "Bearer "+text, 0o600)
	empty := signs.file(t, "empty", " \n", 0o600)
	stranger := signs.file(t, "stranger", newSigner(t).token(t, "stranger", time.Hour, "reader@varrow"), 0o600)
	list, stock := []string{"catalog", "list"}, []string{"stock", "list"}
	for _, c := range []struct {
		name    string
		args    []string
		command []string
		code    int
		said    []string
	}{
		{"one that holds", []string{"--token-file", reader}, list, exitAnswered, nil},
		{"at its own site", []string{"--token-file", reader}, append(stock, "varrow"), exitAnswered, nil},
		{"at another's site", []string{"--token-file", reader}, append(stock, "skarn"), exitService,
			[]string{"denied: bowroll.v1.Stock/ListLots needs the role reader at site skarn\n  help: the issuer of --token-file " + reader + " gives roles at sites"}},
		{"without the role", []string{"--token-file", reader}, []string{"plans", "cancel", "varrow", "dawn", "--reason", "fog", "--actor", "quill", "--request-id", "cancel-1"}, exitService,
			[]string{"needs the role planner at site varrow\n  help: "}},
		{"without the role, beside a certificate that has it", []string{"--token-file", reader, "--client-certificate", certificate, "--client-key", key},
			[]string{"plans", "cancel", "varrow", "dawn", "--reason", "fog", "--actor", "quill", "--request-id", "cancel-1"}, exitService, []string{"needs the role planner at site varrow\n  help: "}},
		{"one that ended", []string{"--token-file", ended}, list, exitService, []string{"the token ended at ", "help: --token-file " + ended + " must hold a token that this service takes"}},
		{"another issuer's key", []string{"--token-file", stranger}, list, exitService, []string{"the token's signature does not hold", "help: --token-file " + stranger}},
		{"none", nil, list, exitService, []string{"help: --token-file, or --client-certificate"}},
		{"one that others can read", []string{"--token-file", shared}, list, exitBadInput, []string{"--token-file " + shared + " can be read by others (mode 644): chmod 600 it"}},
		{"a file of blanks", []string{"--token-file", empty}, list, exitBadInput, []string{"--token-file " + empty + ": the token is empty"}},
		{"a whole header", []string{"--token-file", headed}, list, exitBadInput, []string{"position 7", `without "Bearer"`}},
		{"every fault of the files", []string{"--token-file", "/no/such", "--client-key", key}, list, exitBadInput, []string{"--token-file: stat /no/such", "so must be --client-certificate"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := append(append([]string{"--server", address, "--ca", s.ca}, c.args...), c.command...)
			code, stdout, stderr := run(t.Context(), nil, args...)
			if code != c.code {
				t.Errorf("exit code %d, stdout %q, stderr %q", code, stdout, stderr)
			}
			for _, phrase := range c.said {
				if !strings.Contains(stderr, phrase) {
					t.Errorf("%q is not in %q", phrase, stderr)
				}
			}
			for _, part := range strings.Split(text, ".") {
				if strings.Contains(stdout+stderr, part) {
					t.Errorf("the token is shown: %q", stdout+stderr)
				}
			}
		})
	}
}

func TestATokenIsReadAgain(t *testing.T) {
	signs := newSigner(t)
	name := signs.file(t, "token", "first", 0o600)
	source, err := tokenSource(name)
	if err != nil {
		t.Fatal(err)
	}
	signs.file(t, "token", "second\n", 0o600)
	if token, err := source(t.Context()); token != "second" || err != nil {
		t.Errorf("after the file changed the token is %q, %v", token, err)
	}
	signs.file(t, "token", "", 0o600)
	if token, err := source(t.Context()); err == nil {
		t.Errorf("of an empty file the token is %q", token)
	}
}

func TestATokenFromAPipeIsReadOnce(t *testing.T) {
	out, in, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = out.Close() }()
	if _, err := in.WriteString("piped\n"); err != nil {
		t.Fatal(err)
	}
	if err := in.Close(); err != nil {
		t.Fatal(err)
	}
	source, err := tokenSource(filepath.Join("/dev/fd", strconv.Itoa(int(out.Fd()))))
	if err != nil {
		t.Skipf("this machine has no /dev/fd: %v", err)
	}
	for range 2 {
		if token, err := source(t.Context()); token != "piped" || err != nil {
			t.Errorf("the token is %q, %v", token, err)
		}
	}
}
