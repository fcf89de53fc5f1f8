package rpc

import (
	"context"

	"go.opentelemetry.io/otel/trace"
)

// stage begins the span of a part of a long call, under that of the call; where
// the call is not traced it records nothing. The caller ends it.
func stage(ctx context.Context, name string) (context.Context, trace.Span) {
	return trace.SpanFromContext(ctx).TracerProvider().Tracer("bowroll/server/rpc").Start(ctx, name)
}
