package intercept

import (
	"context"

	"google.golang.org/grpc"
)

// bound gives a call the deadline of its class, unless its own is earlier.
func (c Chain) bound(ctx context.Context, method string) (context.Context, context.CancelFunc) {
	if class := c.Classes[method]; class != nil {
		return context.WithTimeout(ctx, class.Deadline)
	}
	return ctx, func() {}
}

func (c Chain) boundUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	class := c.Classes[info.FullMethod]
	if class == nil {
		return next(ctx, req)
	}
	limited := newLimited(ctx, class.Deadline)
	defer limited.end()
	return next(limited, req)
}

func (c Chain) boundStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	ctx, cancel := c.bound(ss.Context(), info.FullMethod)
	defer cancel()
	return next(srv, &stream{ServerStream: ss, ctx: ctx})
}
