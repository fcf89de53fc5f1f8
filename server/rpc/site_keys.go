package rpc

import (
	"crypto/ed25519"
	"slices"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/logpart"
	"bowroll/server/store"
)

// SiteKeys are the public keys that a service takes the logs of sites from, by
// the site's id; those under "" may sign for any site.
type SiteKeys map[string][]ed25519.PublicKey

// signed refuses a part of a log that its site did not sign. The entries of the
// part follow one another; whoever merges them checks that.
func (k SiteKeys) signed(site string, r *bowrollv1.MergeMovementsRequest) error {
	if len(r.GetSignature()) == 0 {
		return store.Errorf(store.Invalid, "SIGNATURE_MISSING", "a part of a log is taken under its site's signature alone: send what bowroll stock export wrote").At("signature")
	}
	keys := slices.Concat(k[site], k[""])
	if len(keys) == 0 {
		return store.Errorf(store.Refused, "SITE_KEY_UNKNOWN",
			"this service has no public key of %s to check its log with: start it with --site-key %s=FILE.pub", site, site).With("site", site)
	}
	first, last := r.GetMovements()[0], r.GetMovements()[len(r.GetMovements())-1]
	text := logpart.Text(site, first.GetSequence(), first.GetPreviousHash(), last.GetSequence(), last.GetHash())
	if !slices.ContainsFunc(keys, func(key ed25519.PublicKey) bool { return ed25519.Verify(key, text, r.GetSignature()) }) {
		return store.Errorf(store.Refused, "SIGNATURE_WRONG",
			"entries %d to %d are not signed with a key of %s that this service knows: they were changed on the way, or the site has another key",
			first.GetSequence(), last.GetSequence(), site).With("site", site)
	}
	return nil
}
