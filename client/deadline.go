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

// deadlined is a connection whose unary calls all have a deadline. Streams last
// as long as their context: only their caller knows how much they carry.
type deadlined struct {
	*grpc.ClientConn
	timeout func(method string) time.Duration
}

func (d deadlined) Invoke(ctx context.Context, method string, args, reply any, options ...grpc.CallOption) error {
	if _, has := ctx.Deadline(); !has {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, d.timeout(method))
		defer cancel()
	}
	return d.ClientConn.Invoke(ctx, method, args, reply, options...)
}
