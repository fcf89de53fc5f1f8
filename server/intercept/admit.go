package intercept

import (
	"context"
	"runtime"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"

	"bowroll/server/refusal"
)

// places holds the free places of each class.
type places map[string]*place

type place struct {
	class    *Class
	taken    chan struct{}
	inFlight prometheus.Gauge
	shed     prometheus.Counter
}

func newPlaces(classes Classes, metrics *Metrics) places {
	byClass := map[*Class]*place{}
	p := places{}
	for method, class := range classes {
		if byClass[class] == nil {
			byClass[class] = &place{
				class: class, taken: make(chan struct{}, class.InFlight),
				inFlight: metrics.inFlight.WithLabelValues(class.Name), shed: metrics.shed.WithLabelValues(class.Name),
			}
		}
		p[method] = byClass[class]
	}
	return p
}

// enter takes a place without waiting: a queue would only grow older.
func (p *place) enter() error {
	select {
	case p.taken <- struct{}{}:
		p.inFlight.Set(float64(len(p.taken)))
		// Calls that came in meanwhile wait for a processor where nobody counts
		// them. Letting them go first has each take a place or be refused now,
		// rather than after this one has computed, and those before them.
		runtime.Gosched()
		return nil
	default:
		p.shed.Inc()
		return refusal.Busy(p.class.Name, p.class.Retry)
	}
}

func (p *place) leave() {
	<-p.taken
	p.inFlight.Set(float64(len(p.taken)))
}

func (p places) admitUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	place := p[info.FullMethod]
	if place == nil {
		return next(ctx, req)
	}
	if err := place.enter(); err != nil {
		return nil, err
	}
	defer place.leave()
	return next(ctx, req)
}

func (p places) admitStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	place := p[info.FullMethod]
	if place == nil {
		return next(srv, ss)
	}
	if err := place.enter(); err != nil {
		return err
	}
	defer place.leave()
	return next(srv, ss)
}
