package rpc

import (
	"context"

	"bowroll/server/access"
	"bowroll/server/store"
)

// actorOf is who a log says acted: the caller as the service knows it, on behalf
// of whom the request states; or else whom the request states.
func actorOf(ctx context.Context, stated string) (string, error) {
	if store.Proven(stated) {
		return "", store.Errorf(store.Invalid, "ACTOR_RESERVED", "an actor that begins like %.12q is for the service to write: state a name alone", stated).At("actor")
	}
	if who, ok := access.Caller(ctx); ok {
		return store.ProvenActor(who.Name, stated), nil
	}
	return stated, nil
}
