package main

import (
	"context"
	"errors"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// request is a launch off the invented ship's deck with two units.
func request() *bowrollv1.TakeoffsComputeRequest {
	return &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{
		Id: "bench", AircraftType: "aircraftTypes/halbrook", Flap: "takeoff", GrossMassKg: proto.Float64(4800),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101000), TemperatureC: proto.Float64(28)},
		HeadwindMps: proto.Float64(9), Deck: "sites/varrow/decks/main", Spot: "s5",
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)},
		},
	}}
}

// sample is one turn of a server.
type sample struct{ perSecond, cpuMicroseconds float64 }

// againstEcho loads service and echo in turns.
func againstEcho(ctx context.Context, service, bare *child, p plan) ([]figure, error) {
	var ratios, serviceCPU, echoCPU, rates []float64
	for i := range p.rounds + 1 {
		s, err := turn(ctx, service, p)
		if err != nil {
			return nil, err
		}
		e, err := turn(ctx, bare, p)
		if err != nil {
			return nil, err
		}
		if i == 0 {
			continue // warm-up
		}
		ratios = append(ratios, s.perSecond/e.perSecond)
		rates = append(rates, s.perSecond)
		serviceCPU, echoCPU = append(serviceCPU, s.cpuMicroseconds), append(echoCPU, e.cpuMicroseconds)
	}
	return []figure{
		{name: "compute_rate_vs_echo", value: median(ratios), bar: 0.6, atLeast: true},
		{name: "compute_rate", value: median(rates), unit: "/s"},
		{name: "compute_cpu", value: median(serviceCPU), unit: "us"},
		{name: "echo_cpu", value: median(echoCPU), unit: "us"},
	}, nil
}

// turn loads one server with callers that ask again as soon as they have an
// answer.
func turn(ctx context.Context, c *child, p plan) (sample, error) {
	conn, err := grpc.NewClient(c.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return sample{}, err
	}
	defer conn.Close()
	client := bowrollv1.NewTakeoffsClient(conn)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()

	// One call first: the connection is up before the clock runs.
	if _, err := client.Compute(ctx, request()); err != nil {
		return sample{}, err
	}
	before, cpuErr := c.cpu()
	began := time.Now()
	ends := began.Add(p.turn)
	var (
		calls  atomic.Int64
		failed = make(chan error, p.callers)
		all    sync.WaitGroup
	)
	for range p.callers {
		all.Go(func() {
			req := request()
			for time.Now().Before(ends) {
				if _, err := client.Compute(ctx, req); err != nil {
					failed <- err
					cancel()
					return
				}
				calls.Add(1)
			}
		})
	}
	all.Wait()
	took := time.Since(began).Seconds()
	after, err := c.cpu()
	select {
	case err := <-failed:
		return sample{}, err
	default:
	}
	s := sample{perSecond: float64(calls.Load()) / took}
	if errors.Join(cpuErr, err) == nil {
		s.cpuMicroseconds = (after - before) / float64(calls.Load()) * 1e6
	}
	return s, nil
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}
