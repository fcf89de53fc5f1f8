package intercept

import (
	"context"
	"fmt"
	"runtime/debug"

	"github.com/grpc-ecosystem/go-grpc-middleware/v2/interceptors/recovery"
	"google.golang.org/grpc"
)

func (c Chain) recoverUnary() grpc.UnaryServerInterceptor {
	return recovery.UnaryServerInterceptor(recovery.WithRecoveryHandlerContext(c.panicked))
}

func (c Chain) recoverStream() grpc.StreamServerInterceptor {
	return recovery.StreamServerInterceptor(recovery.WithRecoveryHandlerContext(c.panicked))
}

// panicked turns a panic into an error of no known kind, which settle hides.
func (c Chain) panicked(ctx context.Context, p any) error {
	c.Metrics.panics.Inc()
	callOf(ctx).stack = debug.Stack()
	return fmt.Errorf("panic: %v", p)
}
