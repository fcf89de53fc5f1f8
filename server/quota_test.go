package server_test

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/intercept"
	"bowroll/server/refusal"
)

// TestACallerThatAsksTooMuchIsToldWhenToAskAgain turns a clock by hand.
func TestACallerThatAsksTooMuchIsToldWhenToAskAgain(t *testing.T) {
	var signs signer
	var clock atomic.Int64
	clock.Store(time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC).UnixNano())
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{compute: answering}}, func(c *server.Config) {
		c.Access, signs = guard(t, c.Registry)
		c.Quota = intercept.Quota{PerSecond: 2, Burst: 3}
		c.Now = func() time.Time { return time.Unix(0, clock.Load()) }
	})
	as := func(name string) context.Context {
		return metadata.AppendToOutgoingContext(context.Background(), "authorization", "Bearer "+signs.token(t, name, "reader@varrow"))
	}
	greedy, modest := as("greedy"), as("modest")
	for range 3 {
		_, err := h.takeoffs.Compute(greedy, request())
		wantCode(t, err, codes.OK)
	}
	for range 5 { // being refused costs nothing
		_, err := h.takeoffs.Compute(greedy, request())
		wantCode(t, err, codes.ResourceExhausted)
		if wait, ok := refusal.Retry(err); !ok || wait != 500*time.Millisecond {
			t.Errorf("told to wait %v: %v", wait, err)
		}
	}
	web := h.post(t, "/v1/takeoffs:compute", requestJSON, "Authorization", "Bearer "+signs.token(t, "greedy", "reader@varrow"))
	if web.code != 429 || web.header.Get("Retry-After") != "1" {
		t.Errorf("over HTTP: %d %v", web.code, web.header)
	}
	_, err := h.takeoffs.Compute(modest, request())
	wantCode(t, err, codes.OK)
	if _, err := healthpb.NewHealthClient(h.conn).Check(greedy, &healthpb.HealthCheckRequest{}); err != nil {
		t.Errorf("a probe: %v", err)
	}
	clock.Add(int64(500 * time.Millisecond))
	_, err = h.takeoffs.Compute(greedy, request())
	wantCode(t, err, codes.OK)
	_, err = h.takeoffs.Compute(greedy, request())
	wantCode(t, err, codes.ResourceExhausted)
}

// TestACallerHasOnlySoManyCallsInHand holds calls open.
func TestACallerHasOnlySoManyCallsInHand(t *testing.T) {
	var signs signer
	entered, release := make(chan struct{}, 9), make(chan struct{})
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{compute: func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		entered <- struct{}{}
		<-release
		return &bowrollv1.Takeoff{}, nil
	}}}, func(c *server.Config) {
		c.Access, signs = guard(t, c.Registry)
		c.Quota = intercept.Quota{Calls: 2}
	})
	ended := make(chan error, 3)
	call := func(name string) {
		ctx := metadata.AppendToOutgoingContext(context.Background(), "authorization", "Bearer "+signs.token(t, name, "reader@varrow"))
		go func() {
			_, err := h.takeoffs.Compute(ctx, request())
			ended <- err
		}()
	}
	call("greedy")
	call("greedy")
	<-entered
	<-entered
	call("greedy")
	err := <-ended
	wantCode(t, err, codes.ResourceExhausted)
	if _, ok := refusal.Retry(err); !ok {
		t.Errorf("not told when to ask again: %v", err)
	}
	call("modest")
	<-entered
	close(release)
	for range 3 {
		wantCode(t, <-ended, codes.OK)
	}
	call("greedy")
	<-entered
	wantCode(t, <-ended, codes.OK)
}
