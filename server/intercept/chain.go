package intercept

import (
	"context"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc"

	"bowroll/server/access"
	"bowroll/server/refusal"
)

// Chain holds what the interceptors need. All fields are required but Access,
// Quota, Pressure, Least and Answered.
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
	// Pressure tells how much there is to do; nil leaves the limits of classes as
	// they are.
	Pressure Pressure
	// Least is how many calls of a class are taken on however much there is to do,
	// 1 unless more are given; as a rule the processors.
	Least int
	// Answered, where not nil, is shown every answer that leaves.
	Answered func(answer any)
	// Now is the clock of quotas and limits.
	Now func() time.Time
}

// ServerOptions returns the interceptors in their order, and the places that
// calls take.
func (c Chain) ServerOptions() ([]grpc.ServerOption, *Places) {
	places := newPlaces(c)
	accounts := newAccounts(c.Quota, c.Now, c.Metrics)
	c.Metrics.expect(c.Classes)
	return []grpc.ServerOption{
		grpc.InTapHandle(c.tap(places)),
		grpc.ChainUnaryInterceptor(inTurn(
			c.identifyUnary, c.observeUnary, settleUnary, c.recoverUnary(),
			c.authorizeUnary, accounts.admitUnary, places.admitUnary, c.boundUnary, c.screenUnary)),
		grpc.ChainStreamInterceptor(
			c.identifyStream, c.observeStream, settleStream, c.recoverStream(),
			c.authorizeStream, accounts.admitStream, places.admitStream, c.boundStream, c.screenStream),
	}, places
}

// inTurn makes one interceptor of several, each of which calls the next at most
// once. The library's own chain allocates for every one of them in every call.
func inTurn(steps ...grpc.UnaryServerInterceptor) grpc.UnaryServerInterceptor {
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		p := &passage{steps: steps, info: info, handler: handler}
		p.next = p.pass
		return p.pass(ctx, req)
	}
}

// passage is where one call stands among the interceptors.
type passage struct {
	steps   []grpc.UnaryServerInterceptor // still to come
	info    *grpc.UnaryServerInfo
	handler grpc.UnaryHandler
	next    grpc.UnaryHandler
}

func (p *passage) pass(ctx context.Context, req any) (any, error) {
	if len(p.steps) == 0 {
		return p.handler(ctx, req)
	}
	step := p.steps[0]
	p.steps = p.steps[1:]
	return step(ctx, req, p.info, p.next)
}

// stream is a server stream with another context.
type stream struct {
	grpc.ServerStream
	ctx context.Context
}

// Context returns the stream's context.
func (s *stream) Context() context.Context { return s.ctx }
