package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/server/access"
	"bowroll/server/certs"
)

// secured are the flags of encryption and identities.
type secured struct {
	Certificate string `name:"tls-certificate" placeholder:"FILE" env:"BOWROLLD_TLS_CERTIFICATE" help:"Encrypt with this certificate (PEM, with those that lead to its root); read again when it changes."`
	Key         string `name:"tls-key" placeholder:"FILE" env:"BOWROLLD_TLS_KEY" help:"Key of the certificate (PEM, not readable by others)."`
	Clients     string `name:"tls-clients" placeholder:"FILE" env:"BOWROLLD_TLS_CLIENTS" help:"Take client certificates that these authorities signed (PEM)."`
	Access      string `name:"access" placeholder:"FILE" env:"BOWROLLD_ACCESS" help:"Ask who calls: issuers of tokens and names in certificates, with their grants (YAML)."`
}

// lacks says what of encryption and identities there is not, or "".
func (s *secured) lacks() string {
	var missing []string
	if s.Certificate == "" {
		missing = append(missing, "--tls-certificate")
	}
	if s.Access == "" {
		missing = append(missing, "--access")
	}
	return strings.Join(missing, " and ")
}

// check returns everything that is wrong with the flags together.
func (s *secured) check() error {
	var faults []error
	for _, pair := range []struct{ have, needed, haveFlag, neededFlag string }{
		{s.Certificate, s.Key, "--tls-certificate", "--tls-key"},
		{s.Key, s.Certificate, "--tls-key", "--tls-certificate"},
		{s.Clients, s.Certificate, "--tls-clients", "--tls-certificate"},
		{s.Clients, s.Access, "--tls-clients", "--access, which says what the names in certificates may do"},
	} {
		if pair.have != "" && pair.needed == "" {
			faults = append(faults, fmt.Errorf("%s is given: so must be %s", pair.haveFlag, pair.neededFlag))
		}
	}
	return errors.Join(faults...)
}

// print says what is used.
func (s *secured) print(out io.Writer) {
	fmt.Fprintf(out, "tls-certificate: %s\ntls-key: %s\ntls-clients: %s\naccess: %s\n",
		orNone(s.Certificate), orNone(s.Key), orNone(s.Clients), orNone(s.Access))
}

// open reads the files that the flags name, and returns all their faults
// together; nil for what is not given.
func (s *secured) open(registry *prometheus.Registry, now func() time.Time) (*certs.Store, *access.Guard, error) {
	var certificates *certs.Store
	var guard *access.Guard
	var faults []error
	if s.Certificate != "" {
		var err error
		if certificates, err = certs.Open(certs.Files{Certificate: s.Certificate, Key: s.Key, Clients: s.Clients}); err != nil {
			faults = append(faults, err)
		} else {
			faults = append(faults, registry.Register(certificates))
		}
	}
	if s.Access != "" {
		text, err := os.ReadFile(s.Access)
		var config access.Config
		if err == nil {
			config, err = access.ReadConfig(text)
		}
		if err == nil && len(config.Certificates) > 0 && s.Clients == "" {
			err = errors.New("names in certificates have grants: --tls-clients must say who signs those certificates")
		}
		if err == nil {
			guard, err = access.New(config, now, registry)
		}
		if err == nil {
			err = guard.ReadFiles(context.Background())
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("--access %s: %w", s.Access, err))
		}
	}
	return certificates, guard, errors.Join(faults...)
}

// warn says at start, loudly, who may call where that is not asked.
func (s *settings) warn(log *zap.Logger) {
	open := s.Insecure && s.lacks() != ""
	switch {
	case open && s.Certificate == "" && s.Access == "":
		log.Warn("INSECURE: serving without encryption and without asking who calls: everyone who reaches the address may call and read along")
	case open && s.Certificate == "":
		log.Warn("INSECURE: serving without encryption: whoever is on the way can read along and take tokens")
	case open:
		log.Warn("INSECURE: serving without asking who calls: everyone who reaches the address may call")
	case s.Access == "":
		log.Warn("serving this machine without asking who calls")
	}
}

// watch keeps what was read from files fresh until the function that it returns
// is called.
type watch func(ctx context.Context, log *zap.Logger) (stop func())

// watching watches what there is of certificates and keys.
func watching(certificates *certs.Store, guard *access.Guard) watch {
	return func(ctx context.Context, log *zap.Logger) func() {
		ctx, cancel := context.WithCancel(ctx)
		var all sync.WaitGroup
		if certificates != nil {
			all.Go(func() {
				tick, stop := certs.Ticks()
				defer stop()
				certificates.Watch(ctx, tick, func(err error) {
					if err != nil {
						log.Error("certificates cannot be read again; those in use stay", zap.Error(err))
						return
					}
					log.Info("certificates read again")
				})
			})
		}
		if guard != nil {
			all.Go(func() {
				fault := func(err error) { log.Error("keys of issuers cannot be read; those in use stay", zap.Error(err)) }
				if err := guard.Refresh(ctx); err != nil && ctx.Err() == nil {
					fault(err)
				}
				guard.Watch(ctx, fault)
			})
		}
		return func() { cancel(); all.Wait() }
	}
}

// accessCommand prints the table.
type accessCommand struct{}

// Run prints.
func (accessCommand) Run(out streams) error {
	_, err := io.WriteString(out.out, access.Document())
	return err
}
