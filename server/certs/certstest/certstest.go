// Package certstest makes authorities and certificates for tests.
package certstest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"net/url"
	"os"
	"testing"
	"time"
)

// Authority signs certificates.
type Authority struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// New makes an authority.
func New(t testing.TB, name string) *Authority {
	t.Helper()
	a := &Authority{key: newKey(t)}
	a.certificate = sign(t, &x509.Certificate{
		Subject: pkix.Name{CommonName: name}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}, nil, a.key, a.key)
	return a
}

// Pool holds the authority alone.
func (a *Authority) Pool() *x509.CertPool {
	pool := x509.NewCertPool()
	pool.AddCert(a.certificate)
	return pool
}

// PEM is the authority's certificate as text.
func (a *Authority) PEM() []byte { return encode("CERTIFICATE", a.certificate.Raw) }

// Leaf is what a certificate says.
type Leaf struct {
	CommonName string
	// URI is the name of a client, "" for none.
	URI string
	// Ends is when it ends; in an hour unless given.
	Ends time.Time
}

// Issue signs a certificate for 127.0.0.1, for servers and clients alike.
func (a *Authority) Issue(t testing.TB, leaf Leaf) tls.Certificate {
	t.Helper()
	template := &x509.Certificate{
		Subject: pkix.Name{CommonName: leaf.CommonName}, NotAfter: leaf.Ends,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: []string{"localhost"}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	if leaf.URI != "" {
		u, err := url.Parse(leaf.URI)
		if err != nil {
			t.Fatal(err)
		}
		template.URIs = []*url.URL{u}
	}
	key := newKey(t)
	c := sign(t, template, a.certificate, key, a.key)
	return tls.Certificate{Certificate: [][]byte{c.Raw}, PrivateKey: key, Leaf: c}
}

// Write puts a certificate and its key into files.
func Write(t testing.TB, c tls.Certificate, certificatePath, keyPath string) {
	t.Helper()
	der, err := x509.MarshalPKCS8PrivateKey(c.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	for path, text := range map[string][]byte{
		certificatePath: encode("CERTIFICATE", c.Certificate[0]), keyPath: encode("PRIVATE KEY", der),
	} {
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func sign(t testing.TB, template, parent *x509.Certificate, key, by *ecdsa.PrivateKey) *x509.Certificate {
	t.Helper()
	var err error
	if template.SerialNumber, err = rand.Int(rand.Reader, big.NewInt(1<<62)); err != nil {
		t.Fatal(err)
	}
	if template.NotAfter.IsZero() {
		template.NotAfter = time.Now().Add(time.Hour)
	}
	template.NotBefore = time.Now().Add(-2 * time.Hour)
	if parent == nil {
		parent = template
	}
	der, err := x509.CreateCertificate(rand.Reader, template, parent, &key.PublicKey, by)
	if err != nil {
		t.Fatal(err)
	}
	c, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func encode(kind string, der []byte) []byte {
	return pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der})
}
