package server

import (
	"context"
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// How often the store is asked for a sign of life, and how long it may take.
const (
	probeEvery = 5 * time.Second
	probeTime  = 2 * time.Second
)

// storeHealth lets the health of the services that keep things follow the
// store's. The service as a whole stays healthy without it: whoever computes
// must not be turned away because the database is.
type storeHealth struct {
	probe  func(context.Context) error
	health *health.Server
	log    *zap.Logger
	up     prometheus.Gauge
	took   prometheus.Gauge
	failed bool
}

func newStoreHealth(config Config, h *health.Server) (*storeHealth, error) {
	s := &storeHealth{probe: config.StoreProbe, health: h, log: config.Log, up: prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "bowroll_store_up", Help: "1 while the store answers, 0 while it does not.",
	}), took: prometheus.NewGauge(prometheus.GaugeOpts{
		Name: "bowroll_store_probe_seconds", Help: "How long the store last took to give a sign of life.",
	})}
	s.up.Set(1) // it was opened
	if s.probe == nil {
		return s, nil
	}
	return s, errors.Join(config.Registry.Register(s.up), config.Registry.Register(s.took))
}

// look asks the store once.
func (s *storeHealth) look(ctx context.Context) {
	bounded, cancel := context.WithTimeout(ctx, probeTime)
	defer cancel()
	began := time.Now()
	err := s.probe(bounded)
	if ctx.Err() != nil {
		return // it is this service that ends
	}
	status, up := healthpb.HealthCheckResponse_SERVING, 1.0
	if err != nil {
		status, up = healthpb.HealthCheckResponse_NOT_SERVING, 0
	}
	if failed := err != nil; failed != s.failed {
		s.failed = failed
		if failed {
			s.log.Error("the store does not answer; stock and plans are not served", zap.Error(err))
		} else {
			s.log.Info("the store answers again")
		}
	}
	s.up.Set(up)
	s.took.Set(time.Since(began).Seconds())
	for _, service := range []string{bowrollv1.Stock_ServiceDesc.ServiceName, bowrollv1.Plans_ServiceDesc.ServiceName} {
		s.health.SetServingStatus(service, status)
	}
}

// watch asks again at every tick until ctx ends.
func (s *storeHealth) watch(ctx context.Context, tick <-chan time.Time) {
	if s.probe == nil {
		return
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick:
			s.look(ctx)
		}
	}
}
