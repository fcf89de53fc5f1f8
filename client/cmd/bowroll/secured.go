package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"strings"

	"google.golang.org/grpc/codes"

	"bowroll/client"
)

// secured reads who must have signed the service's certificate, and the certificate
// and the token that say who calls. All that is wrong with the files is told together.
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
	if p.line.TokenFile != "" {
		source, err := tokenSource(p.line.TokenFile)
		options, faults = append(options, client.WithToken(source)), append(faults, err)
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

// tokenSource gives what stands in a file, read again for each call, so that a command
// that lasts longer than its token goes on with the one that took its place. What can
// be read only once, e.g. a pipe, is read once.
func tokenSource(name string) (func(context.Context) (string, error), error) {
	first, err := readToken(name)
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(name); err != nil || !info.Mode().IsRegular() {
		return func(context.Context) (string, error) { return first, nil }, nil
	}
	return func(context.Context) (string, error) { return readToken(name) }, nil
}

// readToken reads a token, and says nothing of what it holds where it is none.
func readToken(name string) (string, error) {
	text, err := readSecret("--token-file", name)
	if err != nil {
		return "", err
	}
	token := strings.TrimSpace(string(text))
	if err := client.CheckToken(token); err != nil {
		return "", fmt.Errorf("--token-file %s: %w", name, err)
	}
	return token, nil
}

// whoCalls says what to do where the service does not know who calls, or does not
// let them; nothing for any other refusal.
func (p *program) whoCalls(refused codes.Code) string {
	switch {
	case refused == codes.Unauthenticated && p.line.TokenFile != "":
		return "--token-file " + p.line.TokenFile + " must hold a token that this service takes and that has not ended"
	case refused == codes.Unauthenticated:
		return "--token-file, or --client-certificate and --client-key, say who calls"
	case refused == codes.PermissionDenied && p.line.TokenFile != "":
		return "the issuer of --token-file " + p.line.TokenFile + " gives roles at sites"
	case refused == codes.PermissionDenied:
		return "who looks after the service gives roles at sites, in its access file"
	}
	return ""
}

// readSecret reads a key or token that nobody else may read; flag is what names the file.
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
