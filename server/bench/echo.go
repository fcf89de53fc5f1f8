package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/encoding/protojson"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// echo answers every request with the same message, that of the service: it reads
// and writes the same bytes and does nothing between.
type echo struct {
	bowrollv1.UnimplementedTakeoffsServer
	answer *bowrollv1.Takeoff
}

// newEcho asks the service once for the answer.
func newEcho(ctx context.Context, s *server.Server) (*echo, error) {
	conn, err := s.Connect()
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	answer, err := bowrollv1.NewTakeoffsClient(conn).Compute(ctx, request())
	return &echo{answer: answer}, err
}

// Compute returns the answer.
func (e *echo) Compute(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
	return e.answer, nil
}

// serve serves gRPC and JSON until ctx ends: with the transport options and the
// gateway that the service has and without its interceptors, or stock, both
// libraries as they come.
func (e *echo) serve(ctx context.Context, stock bool, out io.Writer) error {
	options := server.TransportOptions()
	if stock {
		options = nil
	}
	bare := grpc.NewServer(options...)
	bowrollv1.RegisterTakeoffsServer(bare, e)
	inside := bufconn.Listen(256 << 10)
	conn, err := grpc.NewClient("passthrough:///in-memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return inside.DialContext(ctx) }))
	if err != nil {
		return err
	}
	defer conn.Close()
	gateway, err := jsonSide(ctx, conn, e, stock)
	if err != nil {
		return err
	}
	grpcListener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	httpListener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	web := &http.Server{Handler: gateway}
	failed := make(chan error, 3)
	go func() { failed <- bare.Serve(inside) }()
	go func() { failed <- bare.Serve(grpcListener) }()
	go func() { failed <- web.Serve(httpListener) }()
	fmt.Fprintln(out, grpcListener.Addr(), httpListener.Addr())
	select {
	case <-ctx.Done():
		err = nil
	case err = <-failed:
	}
	bare.Stop()
	return errors.Join(err, web.Close())
}

// jsonSide is what turns JSON into calls of conn.
func jsonSide(ctx context.Context, conn *grpc.ClientConn, e *echo, stock bool) (http.Handler, error) {
	if !stock {
		return server.Gateway(ctx, conn, server.Services{Takeoffs: e})
	}
	mux := runtime.NewServeMux(runtime.WithMarshalerOption(runtime.MIMEWildcard, &runtime.JSONPb{
		MarshalOptions: protojson.MarshalOptions{UseProtoNames: true, EmitUnpopulated: true},
	}))
	return mux, bowrollv1.RegisterTakeoffsHandler(ctx, mux, conn)
}
