package main

import (
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func dial(c *child) (*grpc.ClientConn, error) {
	return grpc.NewClient(c.grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
}

// unary loads service and echoes in turns over one connection each. The service's
// own use of the processor is held against gRPC as it comes.
func unary(ctx context.Context, r *ring, p plan) ([]figure, error) {
	loaded := func(c *child) func() (turn, error) {
		return func() (turn, error) {
			conn, err := dial(c)
			if err != nil {
				return turn{}, err
			}
			defer conn.Close()
			client := bowrollv1.NewTakeoffsClient(conn)
			return load(ctx, c, p.callers, p.turn, func() (caller, error) {
				req := request()
				return func(ctx context.Context) error {
					_, err := client.Compute(ctx, req)
					return err
				}, nil
			})
		}
	}
	model := func() (turn, error) {
		seconds, err := kernelSeconds(r.kernel, "plain", p.turn/4)
		return turn{cpuMicroseconds: seconds * 1e6}, err
	}
	turns, err := inTurns(p.rounds, loaded(r.service), loaded(r.echo), loaded(r.stock), model)
	if err != nil {
		return nil, err
	}
	service, echo, stock, kernel := turns[0], turns[1], turns[2], turns[3]
	ownAgainst := func(other []turn) float64 {
		return middle(p.rounds, func(i int) float64 {
			return (service[i].cpuMicroseconds - kernel[i].cpuMicroseconds) / other[i].cpuMicroseconds
		})
	}
	cpu := func(of []turn) float64 {
		return middle(p.rounds, func(i int) float64 { return of[i].cpuMicroseconds })
	}
	return []figure{
		{name: "compute_rate_vs_echo", value: middle(p.rounds, func(i int) float64 { return service[i].perSecond / echo[i].perSecond }), bar: 0.6, atLeast: true},
		{name: "compute_cpu_vs_stock_echo", value: ownAgainst(stock), unit: "x", bar: 1.5},
		{name: "compute_cpu_vs_echo", value: ownAgainst(echo), unit: "x"},
		{name: "compute_rate", value: middle(p.rounds, func(i int) float64 { return service[i].perSecond }), unit: "/s"},
		{name: "compute_cpu", value: cpu(service), unit: "us"},
		{name: "compute_cpu_model", value: cpu(kernel), unit: "us"},
		{name: "echo_cpu", value: cpu(echo), unit: "us"},
		{name: "stock_echo_cpu", value: cpu(stock), unit: "us"},
	}, nil
}

// steady sends calls at a fixed rate, whether or not the ones before have been
// answered, and compares the time that all but one in a hundred are answered in.
func steady(ctx context.Context, r *ring, p plan) ([]figure, error) {
	sent := func(c *child) func() (float64, error) {
		return func() (float64, error) {
			conn, err := dial(c)
			if err != nil {
				return 0, err
			}
			defer conn.Close()
			return p99(ctx, bowrollv1.NewTakeoffsClient(conn), p.steadyRate, 2*p.turn)
		}
	}
	turns, err := inTurns(p.rounds, sent(r.service), sent(r.echo))
	if err != nil {
		return nil, err
	}
	service, echo := turns[0], turns[1]
	return []figure{
		{name: "steady_p99_vs_echo", value: middle(p.rounds, func(i int) float64 { return service[i] / echo[i] }), unit: "x", bar: 2},
		{name: "steady_p99", value: middle(p.rounds, func(i int) float64 { return service[i] * 1e6 }), unit: "us"},
		{name: "steady_p99_echo", value: middle(p.rounds, func(i int) float64 { return echo[i] * 1e6 }), unit: "us"},
	}, nil
}

// p99 is the 99th percentile in seconds of calls sent at a rate for so long, each
// timed from when it goes out. A call that is refused as one too many is answered
// never.
func p99(ctx context.Context, client bowrollv1.TakeoffsClient, perSecond float64, length time.Duration) (float64, error) {
	const warm = 200
	for range warm {
		if _, err := client.Compute(ctx, request()); err != nil {
			return 0, err
		}
	}
	count := int(perSecond * length.Seconds())
	times, fail := make([]float64, count), make([]error, count)
	gap := time.Duration(float64(time.Second) / perSecond)
	var all sync.WaitGroup
	began := time.Now()
	for i := range count {
		time.Sleep(time.Until(began.Add(time.Duration(i) * gap)))
		all.Go(func() {
			out := time.Now()
			_, fail[i] = client.Compute(ctx, request())
			times[i] = time.Since(out).Seconds()
			if status.Code(fail[i]) == codes.ResourceExhausted {
				times[i], fail[i] = math.Inf(1), nil
			}
		})
	}
	all.Wait()
	for _, err := range fail {
		if err != nil {
			return 0, err
		}
	}
	slices.Sort(times)
	return times[count*99/100], nil
}
