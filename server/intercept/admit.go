package intercept

import (
	"context"
	"runtime"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/tap"

	"bowroll/server/refusal"
)

// Places holds the places of every class, and lets calls have them while there
// are any.
type Places struct {
	of     map[string]*place
	limits *limits
	log    *zap.Logger
	now    func() time.Time
}

// place is where the calls of one class stand.
type place struct {
	limit *limit
	taken atomic.Int64
	// refused is said to whoever finds no place; it is always the same.
	refused  error
	inFlight prometheus.Gauge
	shed     prometheus.Counter
	// unsaid counts refusals since the log last told of them, at said.
	unsaid, said atomic.Int64
	name         string
}

func newPlaces(c Chain) *Places {
	p := &Places{of: map[string]*place{}, log: c.Log, now: c.Now, limits: newLimits(c.Pressure, c.Least, c.Now, c.Metrics.wait)}
	byClass := map[*Class]*place{}
	for method, class := range c.Classes {
		if byClass[class] == nil {
			byClass[class] = &place{
				limit:    p.limits.add(class, c.Metrics.limit.WithLabelValues(class.Name)),
				refused:  refusal.Busy(class.Name, class.Retry),
				inFlight: c.Metrics.inFlight.WithLabelValues(class.Name),
				shed:     c.Metrics.shed.WithLabelValues(class.Name),
				name:     class.Name,
			}
		}
		p.of[method] = byClass[class]
	}
	return p
}

// Busy refuses a call of method where its class is full, and takes no place. What
// it costs to ask is little, so it is asked before a request is read.
func (p *Places) Busy(method string) error {
	place := p.of[method]
	if place == nil || place.taken.Load() < place.limit.now.Load() {
		return nil
	}
	return p.refuse(place)
}

// refuse counts a refusal. They come by the thousand when they come, so the log
// tells of them once a second.
func (p *Places) refuse(at *place) error {
	at.shed.Inc()
	at.unsaid.Add(1)
	now, said := p.now().UnixNano(), at.said.Load()
	if now-said >= int64(time.Second) && at.said.CompareAndSwap(said, now) {
		p.log.Warn("busy", zap.String("class", at.name), zap.Int64("refused", at.unsaid.Swap(0)), zap.Int64("limit", at.limit.now.Load()))
	}
	return at.refused
}

// enter takes a place without waiting: a queue would only grow older.
func (p *Places) enter(at *place) error {
	p.limits.adapt()
	n := at.taken.Add(1)
	if n > at.limit.now.Load() {
		at.taken.Add(-1)
		return p.refuse(at)
	}
	at.limit.used(n)
	at.inFlight.Inc()
	// Calls that came in meanwhile wait for a processor where nobody counts
	// them. Letting them go first has each take a place or be refused now,
	// rather than after this one has computed, and those before them.
	runtime.Gosched()
	return nil
}

func (at *place) leave() {
	at.taken.Add(-1)
	at.inFlight.Dec()
}

// tap refuses calls of full classes when only their headers have come: nothing
// is read, decoded or logged for them, so that refusing leaves the processors to
// what was taken on. The calls that pass take a place once they are read; one
// that sends its headers and then nothing holds none.
func (c Chain) tap(p *Places) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		err := p.Busy(info.FullMethodName)
		if err != nil {
			c.Metrics.started(info.FullMethodName)
			c.Metrics.finished(info.FullMethodName, codes.ResourceExhausted, 0)
		}
		return ctx, err
	}
}

func (p *Places) admitUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	place := p.of[info.FullMethod]
	if place == nil {
		return next(ctx, req)
	}
	if err := p.enter(place); err != nil {
		return nil, err
	}
	defer place.leave()
	return next(ctx, req)
}

func (p *Places) admitStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	place := p.of[info.FullMethod]
	if place == nil {
		return next(srv, ss)
	}
	if err := p.enter(place); err != nil {
		return err
	}
	defer place.leave()
	return next(srv, ss)
}
