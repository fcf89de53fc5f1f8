package access

import "context"

type callerKey struct{}

// WithCaller returns a context that says who calls, as the guard found.
func WithCaller(ctx context.Context, who Identity) context.Context {
	return context.WithValue(ctx, callerKey{}, who)
}

// Caller returns who calls; ok is false where nobody was asked, or where the call
// proved nothing.
func Caller(ctx context.Context) (who Identity, ok bool) {
	who, _ = ctx.Value(callerKey{}).(Identity)
	return who, who.Name != ""
}
