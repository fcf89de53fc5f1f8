package client

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
)

// patience is how long a unary call waits where nobody says.
func patience(method string) time.Duration {
	name := method[strings.LastIndexByte(method, '/')+1:]
	if strings.HasPrefix(name, "Get") || strings.HasPrefix(name, "List") {
		return 5 * time.Second
	}
	return 35 * time.Second
}

// connection is one whose unary calls all have a deadline, and whose calls all say
// who calls, where that is known. Streams last as long as their context: only their
// caller knows how much they carry.
type connection struct {
	*grpc.ClientConn
	timeout func(method string) time.Duration
	token   bearer
}

// Invoke implements grpc.ClientConnInterface.
func (c connection) Invoke(ctx context.Context, method string, args, reply any, options ...grpc.CallOption) error {
	if _, has := ctx.Deadline(); !has {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, c.timeout(method))
		defer cancel()
	}
	return c.ClientConn.Invoke(ctx, method, args, reply, c.token.with(options)...)
}

// NewStream implements grpc.ClientConnInterface.
func (c connection) NewStream(ctx context.Context, what *grpc.StreamDesc, method string, options ...grpc.CallOption) (grpc.ClientStream, error) {
	return c.ClientConn.NewStream(ctx, what, method, c.token.with(options)...)
}
