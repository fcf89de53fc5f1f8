package intercept

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"bowroll/proto/layout"
	"bowroll/server/refusal"
)

func (c Chain) screenUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if err := c.screen(info.FullMethod, req); err != nil {
		return nil, err
	}
	return next(ctx, req)
}

func (c Chain) screenStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	return next(srv, &screened{ServerStream: ss, check: func(m any) error { return c.screen(info.FullMethod, m) }})
}

// screened checks each message of a stream as it comes.
type screened struct {
	grpc.ServerStream
	check func(any) error
}

// RecvMsg receives a message and refuses it where it breaks the contract.
func (s *screened) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return s.check(m)
}

func (c Chain) screen(method string, req any) error {
	class := c.Classes[method]
	m, ok := req.(proto.Message)
	if class == nil || !ok {
		return nil
	}
	if l, at := layout.Of(m); l.MostBytes(at) > class.MaxBytes {
		if size := proto.Size(m); size > class.MaxBytes {
			return refusal.TooLarge(size, class.MaxBytes, "ask for less at once, or use the stream")
		}
	}
	faults, err := c.Screen.Request(m)
	if err != nil {
		return err
	}
	return refusal.Invalid(faults)
}
