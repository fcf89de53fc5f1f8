package server

import (
	"context"
	"errors"
	"net"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
)

// TestHealthFollowsTheStore takes the store away and gives it back.
func TestHealthFollowsTheStore(t *testing.T) {
	core, logs := observer.New(zap.InfoLevel)
	h := health.NewServer()
	fault := make(chan error, 1)
	s, err := newStoreHealth(Config{
		Log: zap.New(core), Registry: prometheus.NewRegistry(), StoreProbe: func(context.Context) error { return <-fault },
	}, h)
	if err != nil {
		t.Fatal(err)
	}
	status := func(service string) healthpb.HealthCheckResponse_ServingStatus {
		answer, err := h.Check(t.Context(), &healthpb.HealthCheckRequest{Service: service})
		if err != nil {
			t.Fatal(err)
		}
		return answer.GetStatus()
	}
	for i, err := range []error{nil, errors.New("connection refused"), errors.New("connection refused"), nil} {
		fault <- err
		s.look(t.Context())
		want, up := healthpb.HealthCheckResponse_SERVING, 1.0
		if err != nil {
			want, up = healthpb.HealthCheckResponse_NOT_SERVING, 0
		}
		for _, service := range []string{"bowroll.v1.Stock", "bowroll.v1.Plans"} {
			if got := status(service); got != want {
				t.Errorf("%d: %s is %v", i, service, got)
			}
		}
		if status("") != healthpb.HealthCheckResponse_SERVING || testutil.ToFloat64(s.up) != up {
			t.Errorf("%d: the whole is %v, up is %v", i, status(""), testutil.ToFloat64(s.up))
		}
	}
	if logs.Len() != 2 { // once away, once back
		t.Errorf("%v", logs.All())
	}
	// What ends with the service is no fault of the store's.
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	fault <- context.Canceled
	s.look(ended)
	if status("bowroll.v1.Stock") != healthpb.HealthCheckResponse_SERVING {
		t.Error("ending counts as a fault")
	}
	tick := make(chan time.Time)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { s.watch(ctx, tick); close(done) }()
	fault <- nil
	tick <- time.Time{}
	stop()
	<-done
}

// TestSlowAndManyConnectionsAreBounded holds that nothing on a web listener is
// without a limit.
func TestSlowAndManyConnectionsAreBounded(t *testing.T) {
	s := &Server{config: Config{Log: zap.NewNop(), Patience: Patience{}.filled()}}
	l := refusing{}
	failed := make(chan error, 1)
	web := s.serveHTTP(l, nil, failed)
	if err := <-failed; err == nil {
		t.Error("a listener that fails is no error")
	}
	if web.ReadHeaderTimeout <= 0 || web.ReadTimeout <= 0 || web.WriteTimeout <= 0 || web.IdleTimeout <= 0 || web.MaxHeaderBytes <= 0 {
		t.Errorf("%+v", web)
	}
}

// refusing is a listener that fails.
type refusing struct{ net.Listener }

func (refusing) Accept() (net.Conn, error) { return nil, errors.New("no more") }
func (refusing) Close() error              { return nil }
