// Package client is the Go client of the bowroll service.
//
// [Dial] connects to a service by address and [InProcess] to one that runs in
// this process; either way the calls go over gRPC through the same checks, so
// there is one path through the code. A [Client] holds the generated stub of
// every service of the contract:
//
//	c, err := client.Dial("127.0.0.1:8471")
//	if err != nil {
//		return err
//	}
//	defer c.Close()
//	plan, err := c.Cycles.Plan(ctx, &bowrollv1.CyclesPlanRequest{Cycle: cycle})
//
// What the client adds to the stubs: a deadline for every unary call that has
// none, who calls ([WithToken], [WithCertificate]), retries where a retry is safe, keepalive, and [AsRefusal], which turns an
// error into its code and every fault of the request. It computes nothing: what
// an answer means is said by the service.
//
// Whatever changes something carries a request_id of the caller's, and only
// because of it is a retry safe: a service that did it and could not say so gives
// its first answer again. Keep the id until an answer is there, and send the same
// request under it after a time-out.
//
// A Client may be used by many goroutines at once.
package client

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Client is a connection to a bowroll service and the stubs of its services.
type Client struct {
	Takeoffs   bowrollv1.TakeoffsClient
	WindLimits bowrollv1.WindLimitsClient
	Cycles     bowrollv1.CyclesClient
	Catalog    bowrollv1.CatalogClient
	Model      bowrollv1.ModelClient
	Stock      bowrollv1.StockClient
	Plans      bowrollv1.PlansClient
	Sweeps     bowrollv1.SweepsClient

	Observations bowrollv1.ObservationsClient

	conn  grpc.ClientConnInterface
	close func() error
}

// A Starter starts a service in this process. It returns a connection to it and
// a function that stops it, waiting for the calls under way.
type Starter func(ctx context.Context) (*grpc.ClientConn, func(), error)

// InProcess starts a service in this process and connects to it. Close stops
// it. Of the options only [WithTimeout] and [WithToken] bear on a service so near.
func InProcess(ctx context.Context, start Starter, options ...Option) (*Client, error) {
	conn, stop, err := start(ctx)
	if err != nil {
		return nil, fmt.Errorf("start a service in this process: %w", err)
	}
	return newClient(conn, gather(options), true, func() error {
		err := conn.Close()
		stop()
		return err
	}), nil
}

// newClient makes the stubs over a connection; near says that it does not leave this
// machine.
func newClient(conn *grpc.ClientConn, s settings, near bool, closing func() error) *Client {
	over := connection{conn, s.timeout, bearer{s.token, near}}
	return &Client{
		Takeoffs:   bowrollv1.NewTakeoffsClient(over),
		WindLimits: bowrollv1.NewWindLimitsClient(over),
		Cycles:     bowrollv1.NewCyclesClient(over),
		Catalog:    bowrollv1.NewCatalogClient(over),
		Model:      bowrollv1.NewModelClient(over),
		Stock:      bowrollv1.NewStockClient(over),
		Plans:      bowrollv1.NewPlansClient(over),
		Sweeps:     bowrollv1.NewSweepsClient(over),

		Observations: bowrollv1.NewObservationsClient(over),

		conn:  conn,
		close: closing,
	}
}

// Close ends the connection, and a service in this process with it.
func (c *Client) Close() error { return c.close() }

// Await waits until the service answers, for at most patience. The error says
// why no connection came about; it is nil for a service that answers in any
// way, whether it calls itself healthy or not.
func (c *Client) Await(ctx context.Context, patience time.Duration) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	_, err := grpc_health_v1.NewHealthClient(c.conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{}, grpc.WaitForReady(true))
	switch status.Code(err) {
	case codes.DeadlineExceeded, codes.Unavailable, codes.Canceled:
		return err
	}
	return nil
}
