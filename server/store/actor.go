package store

import "strings"

// provenMark begins the actor of an entry whose actor the service knew by a token
// or a certificate. Without it the actor is what the caller stated.
const provenMark = "proven: "

// ProvenActor is the actor of an entry for a caller that the service knows by
// name, and for whom it acts; empty where that is itself.
func ProvenActor(name, onBehalfOf string) string {
	if onBehalfOf == "" || onBehalfOf == name {
		return provenMark + name
	}
	return provenMark + name + " on behalf of " + onBehalfOf
}

// Proven reports whether an actor is one that the service knew, and not what a
// caller stated.
func Proven(actor string) bool { return strings.HasPrefix(actor, provenMark) }
