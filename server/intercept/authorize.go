package intercept

import (
	"context"

	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/server/access"
)

// authorize says who calls and whether they may begin to call method. Where
// nobody is asked, everyone may.
func (c Chain) authorize(ctx context.Context, method string, m proto.Message) error {
	if c.Access == nil {
		return nil
	}
	call := callOf(ctx)
	who, err := c.Access.Identify(ctx)
	if err == nil {
		call.who = who
		err = c.Access.Permit(who, method, m)
	}
	c.audit(ctx, method, err)
	return err
}

// audit logs a denial, one line each, with who, what and where; never with what
// the caller proved itself by.
func (c Chain) audit(ctx context.Context, method string, err error) {
	if code := status.Code(err); code != codes.Unauthenticated && code != codes.PermissionDenied {
		return
	}
	call := callOf(ctx)
	c.Log.Warn("denied", zap.String("method", method), zap.String("identity", call.who.Name),
		zap.String("caller", caller(ctx)), zap.String("reason", status.Convert(err).Message()), zap.String("request_id", call.requestID))
}

func (c Chain) authorizeUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	m, _ := req.(proto.Message)
	if err := c.authorize(ctx, info.FullMethod, m); err != nil {
		return nil, err
	}
	if c.Access != nil {
		ctx = access.WithCaller(ctx, callOf(ctx).who)
	}
	return next(ctx, req)
}

func (c Chain) authorizeStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	if c.Access == nil {
		return next(srv, ss)
	}
	if err := c.authorize(ss.Context(), info.FullMethod, nil); err != nil {
		return err
	}
	// Each message names its own site.
	return next(srv, &screened{ServerStream: ss, check: func(m any) error {
		message, _ := m.(proto.Message)
		err := c.Access.Permit(callOf(ss.Context()).who, info.FullMethod, message)
		c.audit(ss.Context(), info.FullMethod, err)
		return err
	}})
}
