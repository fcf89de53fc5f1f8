package intercept

import (
	"context"

	"go.uber.org/zap"
	"google.golang.org/grpc"

	"bowroll/server/refusal"
)

// Chain holds what the interceptors need. All fields are required.
type Chain struct {
	// Log gets one line a call.
	Log *zap.Logger
	// NewID makes a request id where the caller sent none.
	NewID func() string
	// Classes says what each method may take.
	Classes Classes
	// Screen holds requests against the contract.
	Screen *refusal.Screen
	// Metrics counts calls.
	Metrics *Metrics
}

// ServerOptions returns the interceptors in their order.
func (c Chain) ServerOptions() []grpc.ServerOption {
	places := newPlaces(c.Classes, c.Metrics)
	return []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(
			c.identifyUnary, c.observeUnary, settleUnary, c.recoverUnary(), places.admitUnary, c.boundUnary, c.screenUnary),
		grpc.ChainStreamInterceptor(
			c.identifyStream, c.observeStream, settleStream, c.recoverStream(), places.admitStream, c.boundStream, c.screenStream),
	}
}

// stream is a server stream with another context.
type stream struct {
	grpc.ServerStream
	ctx context.Context
}

// Context returns the stream's context.
func (s *stream) Context() context.Context { return s.ctx }
