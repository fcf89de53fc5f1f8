package access

import (
	"bytes"
	"context"
	"crypto/rsa"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"github.com/go-jose/go-jose/v4"
)

// How often keys are read again: a file costs nothing, an issuer is asked
// rarely, and sooner where a token names a key that is not known, but never so
// often that callers could make this service trouble the issuer.
const (
	readFileEvery  = 10 * time.Second
	askIssuerEvery = time.Hour
	askAgainAfter  = time.Minute
	askTimeout     = 10 * time.Second
	maxKeyBytes    = 1 << 20
)

// keys are an issuer's public keys. Reading them again never holds up a call:
// calls use what was read last.
type keys struct {
	source string
	client *http.Client // nil for a file
	now    func() time.Time
	set    atomic.Pointer[keySet]
	// wanted says that a token named a key that is not known.
	wanted chan struct{}
}

// keySet is what was read, and when.
type keySet struct {
	*parsedKeys
	read time.Time
}

// parsedKeys are one content of the source; reading the same again keeps them.
type parsedKeys struct {
	text []byte
	byID map[string]jose.JSONWebKey
}

func newKeys(source string, now func() time.Time) *keys {
	k := &keys{source: source, now: now, wanted: make(chan struct{}, 1)}
	if strings.HasPrefix(source, "http://") || strings.HasPrefix(source, "https://") {
		k.client = &http.Client{
			Timeout: askTimeout,
			// The configuration names the address; nobody else gets to.
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		}
	}
	return k
}

// find returns the key with an id; without an id, the only key there is.
// From is what they were read as, nil while nothing was read yet.
func (k *keys) find(id string) (key jose.JSONWebKey, found bool, from *parsedKeys) {
	set := k.set.Load()
	if set == nil {
		return key, false, nil
	}
	if id == "" && len(set.byID) == 1 {
		for _, key = range set.byID {
			return key, true, set.parsedKeys
		}
	}
	key, found = set.byID[id]
	if !found {
		select {
		case k.wanted <- struct{}{}:
		default:
		}
	}
	return key, found, set.parsedKeys
}

// refresh reads the keys again. On a fault those read before stay in use.
func (k *keys) refresh(ctx context.Context) error {
	text, err := k.fetch(ctx)
	if err != nil {
		return fmt.Errorf("reading keys from %s: %w", k.source, err)
	}
	if old := k.set.Load(); old != nil && bytes.Equal(old.text, text) {
		k.set.Store(&keySet{old.parsedKeys, k.now()})
		return nil
	}
	byID, err := parseKeys(text)
	if err != nil {
		return fmt.Errorf("reading keys from %s: %w", k.source, err)
	}
	k.set.Store(&keySet{&parsedKeys{text, byID}, k.now()})
	return nil
}

func (k *keys) fetch(ctx context.Context) ([]byte, error) {
	if k.client == nil {
		return os.ReadFile(k.source)
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodGet, k.source, nil)
	if err != nil {
		return nil, err
	}
	answer, err := k.client.Do(request)
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("the issuer answers %s", answer.Status)
	}
	text, err := io.ReadAll(io.LimitReader(answer.Body, maxKeyBytes+1))
	if err == nil && len(text) > maxKeyBytes {
		err = fmt.Errorf("more than %d bytes", maxKeyBytes)
	}
	return text, err
}

// parseKeys reads a JSON Web Key Set and keeps what can check a signature:
// public keys, strong enough, meant for signing.
func parseKeys(text []byte) (map[string]jose.JSONWebKey, error) {
	var set jose.JSONWebKeySet
	if err := json.Unmarshal(text, &set); err != nil {
		return nil, fmt.Errorf("not a JSON Web Key Set: %w", err)
	}
	byID := map[string]jose.JSONWebKey{}
	for _, key := range set.Keys {
		public := key.Public() // of no value for a symmetric key
		if !public.Valid() || key.Use != "" && key.Use != "sig" {
			continue
		}
		if r, ok := public.Key.(*rsa.PublicKey); ok && r.N.BitLen() < 2048 {
			return nil, fmt.Errorf("key %q has %d bits: must have at least 2048", key.KeyID, r.N.BitLen())
		}
		if _, twice := byID[key.KeyID]; twice {
			return nil, fmt.Errorf("key %q is given twice", key.KeyID)
		}
		byID[key.KeyID] = public
	}
	if len(byID) == 0 {
		return nil, fmt.Errorf("no public key that signs among %d keys", len(set.Keys))
	}
	return byID, nil
}

// watch reads the keys again every so often until ctx ends; faults go to fault.
func (k *keys) watch(ctx context.Context, fault func(error)) {
	every, pause := readFileEvery, time.Duration(0)
	if k.client != nil {
		every, pause = askIssuerEvery, askAgainAfter
		defer k.client.CloseIdleConnections()
	}
	for {
		wait, wanted := every, k.wanted
		if k.set.Load() == nil { // nothing was read yet: try again soon
			wait, wanted = readFileEvery, nil
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		case <-wanted:
		}
		if err := k.refresh(ctx); err != nil && ctx.Err() == nil {
			fault(err)
		}
		if k.set.Load() == nil {
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(pause):
		}
	}
}
