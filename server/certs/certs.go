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

// lookEvery is how often the files are looked at.
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
	stamp       [3]stamp
	certificate tls.Certificate
	clients     *x509.CertPool
}

// stamp tells one state of a file from another.
type stamp struct {
	modified time.Time
	size     int64
}

// Open reads the files and returns all that is wrong with them together.
func Open(files Files) (*Store, error) {
	s := &Store{files: files}
	h, err := s.read()
	if err != nil {
		return nil, err
	}
	s.held.Store(h)
	return s, nil
}

// stamps looks at the files without reading them.
func (s *Store) stamps() (all [3]stamp, err error) {
	for i, path := range []string{s.files.Certificate, s.files.Key, s.files.Clients} {
		if path == "" {
			continue
		}
		info, e := os.Stat(path)
		if e != nil {
			err = errors.Join(err, e)
			continue
		}
		all[i] = stamp{info.ModTime(), info.Size()}
		if mode := info.Mode().Perm(); path == s.files.Key && mode&0o007 != 0 {
			err = errors.Join(err, fmt.Errorf("%s has mode %04o: others than its owner and group may not read the key; chmod o= it", path, mode))
		}
	}
	return all, err
}

func (s *Store) read() (*held, error) {
	// Before the contents: a change between the two is then seen the next time.
	stamps, err := s.stamps()
	if err != nil {
		return nil, err
	}
	h := &held{stamp: stamps}
	var faults []error
	if h.certificate, err = tls.LoadX509KeyPair(s.files.Certificate, s.files.Key); err != nil {
		faults = append(faults, fmt.Errorf("certificate %s with key %s: %w", s.files.Certificate, s.files.Key, err))
	}
	if s.files.Clients != "" {
		h.clients = x509.NewCertPool()
		text, err := os.ReadFile(s.files.Clients)
		if err != nil {
			faults = append(faults, err)
		} else if !h.clients.AppendCertsFromPEM(text) {
			faults = append(faults, fmt.Errorf("%s holds no certificate", s.files.Clients))
		}
	}
	return h, errors.Join(faults...)
}

// Refresh reads the files again if they changed, and says whether they did. On
// a fault what was read before stays in use.
func (s *Store) Refresh() (changed bool, err error) {
	stamps, err := s.stamps()
	if err != nil || stamps == s.held.Load().stamp {
		return false, err
	}
	h, err := s.read()
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

// Ticks ticks as often as files are looked at; stop ends it.
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
