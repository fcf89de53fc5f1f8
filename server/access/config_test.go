package access_test

import (
	"strings"
	"testing"

	"bowroll/server/access"
	"bowroll/testdata/mutate"
)

func TestTheFaultsOfAConfigurationAreListedTogether(t *testing.T) {
	_, err := access.ReadConfig([]byte(`
issuers:
  - issuer: https://a.example
    keys: http://keys.example/set.json
  - issuer: https://a.example
    audience: bowroll
    keys: ftp://keys.example
certificates:
  cn:a: [planner]
  cn:b: []
  cn:c: [pilot@varrow, "planner@Varrow"]
`))
	if err == nil {
		t.Fatal("taken")
	}
	for _, phrase := range []string{
		"issuers[0].audience", "issuers[0].keys", "loopback alone", "given twice", "issuers[1].keys",
		`certificates["cn:a"]`, `certificates["cn:b"] has no grants`, `"pilot@varrow"`, "reader planner armament custodian", `"planner@Varrow"`,
	} {
		if !strings.Contains(err.Error(), phrase) {
			t.Errorf("%q is not in %v", phrase, err)
		}
	}
	for name, text := range map[string]string{
		"nothing": "", "an unknown key": "issuer: x\n", "a password": "issuers: [{issuer: a, audience: b, keys: 'https://u:p@k.example'}]",
		"a list": "- a\n", "not YAML": "a: [",
	} {
		if _, err := access.ReadConfig([]byte(text)); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
	c, err := access.ReadConfig([]byte("issuers: [{issuer: a, audience: b, keys: /etc/bowroll/keys.json}, {issuer: c, audience: b, keys: 'http://127.0.0.1:1/k', claim: grants}]"))
	if err != nil || c.Issuers[0].Claim != "bowroll" || c.Issuers[1].Claim != "grants" {
		t.Error(c, err)
	}
}

func FuzzParseGrant(f *testing.F) {
	f.Add("planner@varrow")
	f.Add("reader@*")
	f.Add("@")
	mutate.More(f)
	f.Fuzz(func(t *testing.T, text string) {
		g, err := access.ParseGrant(text)
		if err == nil && g.String() != text {
			t.Errorf("%q is read as %q", text, g)
		}
	})
}

// Whatever a file of issuers and certificates holds, it is read or refused, twice
// alike, and what is read has only what the service can check.
func FuzzReadConfig(f *testing.F) {
	f.Add([]byte("issuers: [{issuer: a, audience: b, keys: /etc/bowroll/keys.json}]"))
	f.Add([]byte("certificates:\n  cn:a: [planner@varrow, reader@*]\n"))
	f.Add([]byte("issuers: [{issuer: a, audience: b, keys: 'http://127.0.0.1:1/k', claim: grants}]\ncertificates: {}\n"))
	f.Add([]byte("a: &a [*a]"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := access.ReadConfig(text)
		_, again := access.ReadConfig(text)
		if (err == nil) != (again == nil) || err != nil && err.Error() != again.Error() {
			t.Fatalf("read twice: %v, %v", err, again)
		}
		if err != nil {
			return
		}
		for _, issuer := range c.Issuers {
			if issuer.Issuer == "" || issuer.Audience == "" || issuer.Keys == "" || issuer.Claim == "" {
				t.Errorf("%+v", issuer)
			}
		}
	})
}
