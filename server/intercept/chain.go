package intercept

import (
	"context"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"

	"bowroll/server/access"
	"bowroll/server/refusal"
)

// Chain holds what the interceptors need. All fields are required but Access and
// Quota.
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
	// Access decides who may call; nil lets everyone.
	Access *access.Guard
	// Quota bounds what one caller may ask.
	Quota Quota
	// Now is the clock of the quota.
	Now func() time.Time
}

// ServerOptions returns the interceptors in their order.
func (c Chain) ServerOptions() []grpc.ServerOption {
	places := newPlaces(c.Classes, c.Metrics)
	accounts := newAccounts(c.Quota, c.Now, c.Metrics)
	return []grpc.ServerOption{
		grpc.ChainUnaryInterceptor(
			c.identifyUnary, c.observeUnary, settleUnary, c.recoverUnary(),
			c.authorizeUnary, accounts.admitUnary, places.admitUnary, c.boundUnary, c.screenUnary),
		grpc.ChainStreamInterceptor(
			c.identifyStream, c.observeStream, settleStream, c.recoverStream(),
			c.authorizeStream, accounts.admitStream, places.admitStream, c.boundStream, c.screenStream),
	}
}

// stream is a server stream with another context.
type stream struct {
	grpc.ServerStream
	ctx context.Context
}

// Context returns the stream's context.
func (s *stream) Context() context.Context { return s.ctx }
