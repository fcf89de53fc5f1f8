package main

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"bowroll/proto/logpart"
	"bowroll/server/rpc"
)

// carried are the flags of logs that are carried here from other sites.
type carried struct {
	SiteKeys []string `name:"site-key" placeholder:"SITE=FILE" env:"BOWROLLD_SITE_KEY" help:"Public key (PEM, Ed25519) under which the log of another site is merged into the copy kept here; may be given more than once, and for one site too. Without one no log is merged."`
}

func (f *carried) check() error {
	_, err := f.keys()
	return err
}

func (f *carried) print(out io.Writer) { fmt.Fprintf(out, "site-key: %q\n", f.SiteKeys) }

// keys reads the keys, by site.
func (f *carried) keys() (rpc.SiteKeys, error) {
	keys := rpc.SiteKeys{}
	var faults []error
	for _, text := range f.SiteKeys {
		site, file, found := strings.Cut(text, "=")
		site = strings.TrimPrefix(site, "sites/")
		if !found || site == "" || file == "" {
			faults = append(faults, fmt.Errorf("--site-key is %q: must be SITE=FILE, e.g. varrow=/etc/bowroll/varrow.key.pub", text))
			continue
		}
		key, err := readSiteKey(file)
		if err != nil {
			faults = append(faults, fmt.Errorf("--site-key %s: %w", text, err))
			continue
		}
		keys[site] = append(keys[site], key)
	}
	return keys, errors.Join(faults...)
}

func readSiteKey(file string) (ed25519.PublicKey, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	key, err := logpart.ReadPublic(text)
	if err != nil {
		return nil, fmt.Errorf("the file %w", err)
	}
	return key, nil
}
