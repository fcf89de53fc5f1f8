// Package logpart is what the two ends of a site's log agree on beside the
// messages: what a site signs, and the form of its public key.
package logpart

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
)

// Format names this form of a part, and is in what is signed.
const Format = "bowroll log 1"

// Text is what a site signs of a part of its log (Ed25519, RFC 8032): its first
// and last entry, the hash that the first follows and the hash that the last
// has. Every entry is chained into the last hash, and so is the digest of what
// belongs to an entry; a signature over it holds for all of that.
func Text(site string, first int32, previousHash string, last int32, hash string) []byte {
	return fmt.Appendf(nil, "%s\n%s\n%d\n%s\n%d\n%s\n", Format, site, first, previousHash, last, hash)
}

// ReadPublic reads the public half of a site's key in PEM form (PKIX).
func ReadPublic(text []byte) (ed25519.PublicKey, error) {
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, errors.New("holds no key in PEM form")
	}
	key, err := x509.ParsePKIXPublicKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", err)
	}
	public, ok := key.(ed25519.PublicKey)
	if !ok {
		return nil, errors.New("is no Ed25519 key")
	}
	return public, nil
}
