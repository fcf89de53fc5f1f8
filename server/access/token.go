package access

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
)

// skew is how far this clock and an issuer's may be apart.
const skew = 60 * time.Second

// algorithms returns the signatures that are taken: those that the holder of
// the public key cannot make.
func algorithms() []jose.SignatureAlgorithm {
	return []jose.SignatureAlgorithm{
		jose.RS256, jose.RS384, jose.RS512, jose.PS256, jose.PS384, jose.PS512,
		jose.ES256, jose.ES384, jose.ES512, jose.EdDSA,
	}
}

// issuer checks the tokens of one issuer.
type issuer struct {
	IssuerConfig
	keys *keys
}

// errNotReady says that an issuer's keys were not read yet.
var errNotReady = errors.New("the keys of the token's issuer were not read yet; try again")

// identify returns whom a token stands for. Errors say what is wrong with it
// and nothing of what it holds.
func (g *Guard) identify(token string) (Identity, error) {
	now := g.now()
	if who, known := g.proven.find(token, now); known {
		return who, nil
	}
	parsed, err := jwt.ParseSigned(token, g.algorithms)
	if err != nil {
		return Identity{}, errors.New("the token is not one that was signed with an algorithm that is taken")
	}
	var unproven jwt.Claims
	if err := parsed.UnsafeClaimsWithoutVerification(&unproven); err != nil {
		return Identity{}, errors.New("the token's claims cannot be read")
	}
	from := g.issuers[unproven.Issuer]
	if from == nil || len(parsed.Headers) != 1 {
		return Identity{}, errors.New("the token's issuer is not known here")
	}
	key, found, read := from.keys.find(parsed.Headers[0].KeyID)
	switch {
	case read == nil:
		return Identity{}, errNotReady
	case !found:
		return Identity{}, errors.New("the token is signed with a key that its issuer is not known to have; try again in a minute if it is new")
	case key.Algorithm != "" && key.Algorithm != parsed.Headers[0].Algorithm:
		return Identity{}, errors.New("the token is signed with another algorithm than its key is for")
	}
	var claims jwt.Claims
	var all map[string]any
	if err := parsed.Claims(key, &claims, &all); err != nil {
		return Identity{}, errors.New("the token's signature does not hold")
	}
	if err := from.judge(claims, now); err != nil {
		return Identity{}, err
	}
	who := Identity{Name: claims.Subject, Grants: grantsOf(all[from.Claim])}
	g.proven.keep(token, proof{who: who, claims: claims, from: from, read: read})
	return who, nil
}

// judge says what is wrong with the claims of a token whose signature holds.
func (i *issuer) judge(claims jwt.Claims, now time.Time) error {
	switch err := claims.ValidateWithLeeway(jwt.Expected{Issuer: i.Issuer, AnyAudience: jwt.Audience{i.Audience}, Time: now}, skew); {
	case errors.Is(err, jwt.ErrExpired):
		return fmt.Errorf("the token ended at %s", claims.Expiry.Time().UTC().Format(time.RFC3339))
	case errors.Is(err, jwt.ErrNotValidYet), errors.Is(err, jwt.ErrIssuedInTheFuture):
		return errors.New("the token begins in the future; compare the clocks")
	case errors.Is(err, jwt.ErrInvalidAudience):
		return fmt.Errorf("the token is not for this service: its audience must be %q", i.Audience)
	case err != nil:
		return errors.New("the token does not hold here")
	case claims.Expiry == nil:
		return errors.New("the token has no end; exp must be given")
	case claims.Subject == "":
		return errors.New("the token names nobody; sub must be given")
	}
	return nil
}

// grantsOf reads the claim with the grants. What is no grant of ours is some
// other service's and gives nothing.
func grantsOf(claim any) []Grant {
	var words []string
	switch c := claim.(type) {
	case string:
		words = strings.Fields(c)
	case []any:
		for _, one := range c {
			if s, ok := one.(string); ok {
				words = append(words, s)
			}
		}
	}
	var grants []Grant
	for _, word := range words {
		if g, err := ParseGrant(word); err == nil && !slices.Contains(grants, g) {
			grants = append(grants, g)
		}
	}
	return grants
}
