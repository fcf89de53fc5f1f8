package access

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"net"
	"net/url"
	"slices"

	"go.yaml.in/yaml/v3"
)

// Config says whom the service knows.
type Config struct {
	// Issuers sign tokens.
	Issuers []IssuerConfig `yaml:"issuers"`
	// Certificates maps the name in a client's certificate to its grants: a URI,
	// spiffe://fleet.example/varrow/planning, or cn: and the common name where
	// the certificate has no URI.
	Certificates map[string][]string `yaml:"certificates"`
}

// IssuerConfig is one issuer of tokens.
type IssuerConfig struct {
	// Issuer is what its tokens say in iss.
	Issuer string `yaml:"issuer"`
	// Audience is what its tokens for this service say in aud.
	Audience string `yaml:"audience"`
	// Keys is a JSON Web Key Set: a file, or an address that begins with
	// https:// (http:// on loopback alone).
	Keys string `yaml:"keys"`
	// Claim holds the grants, a list of them or one text with spaces between;
	// "bowroll" unless given.
	Claim string `yaml:"claim"`
}

// ReadConfig reads YAML and returns all its faults together.
func ReadConfig(text []byte) (Config, error) {
	var c Config
	decoder := yaml.NewDecoder(bytes.NewReader(text))
	decoder.KnownFields(true)
	if err := decoder.Decode(&c); err != nil && !errors.Is(err, io.EOF) {
		return Config{}, err
	}
	return c, c.check()
}

func (c *Config) check() error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	seen := map[string]bool{}
	for i := range c.Issuers {
		issuer := &c.Issuers[i]
		where := fmt.Sprintf("issuers[%d]", i)
		if issuer.Claim == "" {
			issuer.Claim = "bowroll"
		}
		if issuer.Issuer == "" {
			fault("%s.issuer is not given: must be what its tokens say in iss", where)
		}
		if seen[issuer.Issuer] {
			fault("%s.issuer is %q: given twice", where, issuer.Issuer)
		}
		seen[issuer.Issuer] = true
		if issuer.Audience == "" {
			fault("%s.audience is not given: must be what its tokens for this service say in aud", where)
		}
		if err := checkSource(issuer.Keys); err != nil {
			fault("%s.keys is %q: %w", where, issuer.Keys, err)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(c.Certificates)) {
		if len(c.Certificates[name]) == 0 {
			fault("certificates[%q] has no grants", name)
		}
		for _, text := range c.Certificates[name] {
			if _, err := ParseGrant(text); err != nil {
				fault("certificates[%q]: %w", name, err)
			}
		}
	}
	if len(c.Issuers)+len(c.Certificates) == 0 {
		fault("neither issuers nor certificates are given: nobody could call")
	}
	return errors.Join(faults...)
}

// checkSource refuses addresses whose keys anyone on the way could replace.
func checkSource(keys string) error {
	if keys == "" {
		return errors.New("must be a file, or an address that begins with https://")
	}
	u, err := url.Parse(keys)
	if err != nil {
		return errors.New("cannot be read as an address")
	}
	if u.User != nil {
		return errors.New("must not hold a password")
	}
	switch u.Scheme {
	case "", "https":
		return nil
	case "http":
		if ip := net.ParseIP(u.Hostname()); u.Hostname() == "localhost" || ip != nil && ip.IsLoopback() {
			return nil
		}
		return errors.New("must begin with https://; http:// is for loopback alone")
	default:
		return errors.New("must be a file, or an address that begins with https://")
	}
}
