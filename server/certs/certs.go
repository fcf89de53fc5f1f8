// Package certs reads a certificate, its key and the authorities of clients
// from files, and reads them again when the files change, so that certificates
// are renewed without a restart.
package certs

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// lookEvery is how often the files are read.
const lookEvery = 5 * time.Second

// Files are where certificates are.
type Files struct {
	// Certificate and Key are in PEM; the certificate is followed by those that
	// lead to its root.
	Certificate, Key string
	// Clients holds, in PEM, the authorities that sign clients' certificates;
	// empty means that clients are not asked for any.
	Clients string
}

// Store holds what the files said last.
type Store struct {
	files Files
	held  atomic.Pointer[held]
}

// held is one state of the files.
type held struct {
	texts       texts
	certificate tls.Certificate
	clients     *x509.CertPool
}

// texts are the contents of the files. They are compared whole: a file may be
// written twice within what its time of change tells apart.
type texts struct{ certificate, key, clients string }

// Open reads the files and returns all that is wrong with them together.
func Open(files Files) (*Store, error) {
	s := &Store{files: files}
	all, err := s.read()
	if err != nil {
		return nil, err
	}
	h, err := s.parse(all)
	if err != nil {
		return nil, err
	}
	s.held.Store(h)
	return s, nil
}

// read reads the files.
func (s *Store) read() (all texts, err error) {
	for _, f := range []struct {
		path string
		to   *string
	}{{s.files.Certificate, &all.certificate}, {s.files.Key, &all.key}, {s.files.Clients, &all.clients}} {
		if f.path == "" {
			continue
		}
		text, e := os.ReadFile(f.path)
		err = errors.Join(err, e)
		*f.to = string(text)
	}
	info, e := os.Stat(s.files.Key)
	if e != nil {
		return all, err // reading it has said so
	}
	if mode := info.Mode().Perm(); mode&0o007 != 0 {
		err = errors.Join(err, fmt.Errorf("%s has mode %04o: others than its owner and group may not read the key; chmod o= it", s.files.Key, mode))
	}
	return all, err
}

// parse makes of the contents what connections need.
func (s *Store) parse(all texts) (*held, error) {
	h := &held{texts: all}
	var faults []error
	var err error
	if h.certificate, err = tls.X509KeyPair([]byte(all.certificate), []byte(all.key)); err != nil {
		faults = append(faults, fmt.Errorf("certificate %s with key %s: %w", s.files.Certificate, s.files.Key, err))
	}
	if s.files.Clients != "" {
		h.clients = x509.NewCertPool()
		if !h.clients.AppendCertsFromPEM([]byte(all.clients)) {
			faults = append(faults, fmt.Errorf("%s holds no certificate", s.files.Clients))
		}
	}
	return h, errors.Join(faults...)
}

// Refresh reads the files again, and says whether they changed. On a fault what
// was read before stays in use.
func (s *Store) Refresh() (changed bool, err error) {
	all, err := s.read()
	if err != nil || all == s.held.Load().texts {
		return false, err
	}
	h, err := s.parse(all)
	if err != nil {
		return false, err
	}
	s.held.Store(h)
	return true, nil
}

// Watch refreshes at every tick until ctx ends. News, with a nil error, is told
// to tell, and so is each new fault.
func (s *Store) Watch(ctx context.Context, tick <-chan time.Time, tell func(error)) {
	last := ""
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick:
		}
		changed, err := s.Refresh()
		text := ""
		if err != nil {
			text = err.Error()
		}
		if changed || text != "" && text != last {
			tell(err)
		}
		last = text
	}
}

// Ticks ticks as often as files are read; stop ends it.
func Ticks() (tick <-chan time.Time, stop func()) {
	t := time.NewTicker(lookEvery)
	return t.C, t.Stop
}

// Server is the configuration of a listener that speaks the protocols given,
// "h2" for gRPC. Each connection gets what the files said last. TLS 1.3 is the
// least. With clients' authorities and ask, clients may show a certificate, and
// one that those did not sign ends the connection.
func (s *Store) Server(ask bool, protocols ...string) *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13, NextProtos: protocols,
		GetConfigForClient: func(*tls.ClientHelloInfo) (*tls.Config, error) {
			h := s.held.Load()
			c := &tls.Config{
				MinVersion: tls.VersionTLS13, NextProtos: protocols, Certificates: []tls.Certificate{h.certificate},
				// A session taken up again would pass by authorities that changed.
				SessionTicketsDisabled: true,
			}
			if ask && h.clients != nil {
				c.ClientCAs, c.ClientAuth = h.clients, tls.VerifyClientCertIfGiven
			}
			return c, nil
		},
	}
}

// Describe implements prometheus.Collector.
func (s *Store) Describe(out chan<- *prometheus.Desc) { out <- expiry() }

// Collect implements prometheus.Collector.
func (s *Store) Collect(out chan<- prometheus.Metric) {
	seconds := 0.0
	if leaf := s.held.Load().certificate.Leaf; leaf != nil {
		seconds = float64(leaf.NotAfter.Unix())
	}
	out <- prometheus.MustNewConstMetric(expiry(), prometheus.GaugeValue, seconds)
}

func expiry() *prometheus.Desc {
	return prometheus.NewDesc("bowroll_certificate_expiry_timestamp_seconds", "When the certificate in use ends.", nil, nil)
}
