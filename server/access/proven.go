package access

import (
	"crypto/sha256"
	"sync"
	"time"

	"github.com/go-jose/go-jose/v4/jwt"
)

// maxProven is how many tokens are remembered.
const maxProven = 4096

// proven remembers tokens whose signature held, by their hash: checking one
// costs more than the rest of a call. What time and keys change is judged anew
// for each call, so a remembered token is good for no longer than another.
type proven struct {
	mu     sync.RWMutex
	byHash map[[sha256.Size]byte]proof
}

// proof is what a token proved, and with which keys.
type proof struct {
	who    Identity
	claims jwt.Claims
	from   *issuer
	read   *parsedKeys
}

// find returns whom a token stands for that is remembered and still holds.
func (p *proven) find(token string, now time.Time) (Identity, bool) {
	p.mu.RLock()
	one, known := p.byHash[sha256.Sum256([]byte(token))]
	p.mu.RUnlock()
	if !known {
		return Identity{}, false
	}
	if set := one.from.keys.set.Load(); set == nil || set.parsedKeys != one.read || one.from.judge(one.claims, now) != nil {
		return Identity{}, false
	}
	return one.who, true
}

// keep remembers a token; when there are too many it begins anew.
func (p *proven) keep(token string, one proof) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.byHash == nil || len(p.byHash) >= maxProven {
		p.byHash = map[[sha256.Size]byte]proof{}
	}
	p.byHash[sha256.Sum256([]byte(token))] = one
}
