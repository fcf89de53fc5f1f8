package main

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"

	"bowroll/client"
)

// secured reads who must have signed the service's certificate, and the certificate
// that says who calls. All that is wrong with the files is told together.
func (p *program) secured() ([]client.Option, error) {
	var options []client.Option
	var faults []error
	if p.line.CA != "" {
		pool, err := authorities(p.line.CA)
		options, faults = append(options, client.WithAuthorities(pool)), append(faults, err)
	}
	switch certificate, key := p.line.ClientCertificate, p.line.ClientKey; {
	case certificate != "" && key != "":
		pair, err := clientCertificate(certificate, key)
		options, faults = append(options, client.WithCertificate(pair)), append(faults, err)
	case certificate != "":
		faults = append(faults, errors.New("--client-certificate is given: so must be --client-key"))
	case key != "":
		faults = append(faults, errors.New("--client-key is given: so must be --client-certificate"))
	}
	if err := errors.Join(faults...); err != nil {
		return nil, badInput{err}
	}
	return options, nil
}

// authorities reads the certificates of those who sign the service's own.
func authorities(name string) (*x509.CertPool, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("--ca: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("--ca %s holds no certificate in PEM form", name)
	}
	return pool, nil
}

// clientCertificate reads a certificate and its key, which nobody else may read.
func clientCertificate(certificate, key string) (tls.Certificate, error) {
	chain, err := os.ReadFile(certificate)
	if err != nil {
		err = fmt.Errorf("--client-certificate: %w", err)
	}
	secret, unread := readSecret("--client-key", key)
	if err := errors.Join(err, unread); err != nil {
		return tls.Certificate{}, err
	}
	pair, err := tls.X509KeyPair(chain, secret)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("--client-certificate %s with --client-key %s: %w", certificate, key, err)
	}
	return pair, nil
}

// readSecret reads a key that nobody else may read; flag is what names the file.
func readSecret(flag, name string) ([]byte, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", flag, err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return nil, fmt.Errorf("%s %s can be read by others (mode %o): chmod 600 it", flag, name, mode)
	}
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", flag, err)
	}
	return text, nil
}
