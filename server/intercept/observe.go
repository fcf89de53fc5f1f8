package intercept

import (
	"context"
	"strings"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
)

func (c Chain) observeUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	done := c.begin(ctx, info.FullMethod)
	resp, err := next(ctx, req)
	done(err)
	if err == nil && c.Answered != nil {
		c.Answered(resp)
	}
	return resp, err
}

func (c Chain) observeStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	done := c.begin(ss.Context(), info.FullMethod)
	if c.Answered != nil {
		ss = &shown{ss, c.Answered}
	}
	err := next(srv, ss)
	done(err)
	return err
}

// shown shows each message that a stream sends.
type shown struct {
	grpc.ServerStream
	to func(any)
}

// SendMsg sends a message and shows it.
func (s *shown) SendMsg(m any) error {
	err := s.ServerStream.SendMsg(m)
	if err == nil {
		s.to(m)
	}
	return err
}

// begin counts a call in and returns what counts it out and logs it.
func (c Chain) begin(ctx context.Context, method string) (done func(error)) {
	began := time.Now()
	c.Metrics.started(method)
	return func(err error) {
		took, code := time.Since(began), status.Code(err)
		c.Metrics.finished(method, code, took)
		entry := c.Log.Check(level(method, code), "call")
		if entry == nil {
			return
		}
		call := callOf(ctx)
		fields := []zap.Field{
			zap.String("method", method), zap.String("code", code.String()), zap.Duration("took", took),
			zap.String("request_id", call.requestID),
		}
		if from := caller(ctx); from != "" {
			fields = append(fields, zap.String("caller", from))
		}
		if call.who.Name != "" {
			fields = append(fields, zap.String("identity", call.who.Name))
		}
		switch {
		case call.cause != nil:
			fields = append(fields, zap.NamedError("cause", call.cause))
		case err != nil:
			fields = append(fields, zap.String("refusal", status.Convert(err).Message()))
		}
		if call.stack != nil {
			fields = append(fields, zap.ByteString("stack", call.stack))
		}
		entry.Write(fields...)
	}
}

// caller is where a call came from: the other end of the connection, or, for
// one in memory, what the gateway says of its own client.
func caller(ctx context.Context) string {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return ""
	}
	if p.Addr.Network() != "bufconn" {
		return p.Addr.String()
	}
	forwarded := metadata.ValueFromIncomingContext(ctx, "x-forwarded-for")
	if len(forwarded) == 0 {
		return "in process"
	}
	// The gateway appends what it saw itself; before that is what was claimed.
	chain := strings.Split(forwarded[len(forwarded)-1], ",")
	return "http " + strings.TrimSpace(chain[len(chain)-1])
}

// level is how loud a call is logged: what the service did wrong as errors,
// what it could not take on as warnings, health checks only when debugging.
func level(method string, code codes.Code) zapcore.Level {
	switch code {
	case codes.Internal, codes.Unknown, codes.DataLoss:
		return zapcore.ErrorLevel
	case codes.ResourceExhausted, codes.Unavailable, codes.DeadlineExceeded:
		return zapcore.WarnLevel
	}
	if strings.HasPrefix(method, "/grpc.") {
		return zapcore.DebugLevel
	}
	return zapcore.InfoLevel
}
