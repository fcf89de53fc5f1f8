package intercept

import (
	"context"

	"google.golang.org/grpc"

	"bowroll/server/refusal"
)

func settleUnary(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	resp, err := next(ctx, req)
	return resp, settle(ctx, err)
}

func settleStream(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	return settle(ss.Context(), next(srv, ss))
}

// settle gives an error its outward form and keeps what it hides for the log.
func settle(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	call := callOf(ctx)
	settled, hidden := refusal.Settle(err, call.requestID)
	if hidden {
		call.cause = err
	}
	return settled
}
