package intercept

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	"bowroll/server/access"
)

// RequestIDKey is the metadata key of the request id, in both directions.
const RequestIDKey = "x-request-id"

// call is what the interceptors know of a call; it travels in its context.
type call struct {
	requestID string
	// who calls; nobody where that is not asked or not known.
	who access.Identity
	// cause is the error that settle hid from the caller.
	cause error
	// stack is where a panic was, if there was one.
	stack []byte
}

type callKey struct{}

// called is the context of a call that is known.
type called struct {
	context.Context
	call call
}

// Value is the call itself, or what the context around it has.
func (c *called) Value(key any) any {
	if key == (callKey{}) {
		return &c.call
	}
	return c.Context.Value(key)
}

func callOf(ctx context.Context) *call {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c
	}
	return &call{}
}

// RequestID returns the id of the call that ctx belongs to, or "".
func RequestID(ctx context.Context) string { return callOf(ctx).requestID }

func (c Chain) identify(ctx context.Context) (context.Context, metadata.MD) {
	id := ""
	if sent := metadata.ValueFromIncomingContext(ctx, RequestIDKey); len(sent) == 1 && wellFormed(sent[0]) {
		id = sent[0]
	} else {
		id = c.NewID()
	}
	return &called{ctx, call{requestID: id}}, metadata.MD{RequestIDKey: {id}}
}

// wellFormed keeps what callers send out of logs unless it is a plain word.
func wellFormed(id string) bool {
	if id == "" || len(id) > 64 {
		return false
	}
	for _, c := range []byte(id) {
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_' || c == '.' {
			continue
		}
		return false
	}
	return true
}

func (c Chain) identifyUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	ctx, header := c.identify(ctx)
	// The only failure is a header sent already, and this is the first place.
	_ = grpc.SetHeader(ctx, header)
	return next(ctx, req)
}

func (c Chain) identifyStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	ctx, header := c.identify(ss.Context())
	_ = ss.SetHeader(header)
	return next(srv, &stream{ServerStream: ss, ctx: ctx})
}
