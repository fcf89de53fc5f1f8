package intercept

import (
	"context"
	"net"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
	"google.golang.org/grpc"

	"bowroll/server/refusal"
)

// Quota bounds what one caller may ask, so that none takes what is there for
// all. The zero value bounds nothing.
type Quota struct {
	// PerSecond is how many calls a caller may make on average, Burst how many
	// at once after a rest; 0 is as many as it likes.
	PerSecond float64
	Burst     int
	// Calls is how many of its calls may be in hand; 0 is as many as it likes.
	Calls int
}

// forgetAfter is when a caller that asks no more is forgotten, and maxCallers
// how many are remembered: beyond them, those unknown share one account.
const (
	forgetAfter = 10 * time.Minute
	maxCallers  = 10_000
	others      = "others"
)

// accounts holds what each caller has taken.
type accounts struct {
	quota   Quota
	now     func() time.Time
	metrics *Metrics

	mu    sync.Mutex
	by    map[string]*account
	swept time.Time
}

type account struct {
	bucket *rate.Limiter
	inHand int
	last   time.Time
}

func newAccounts(q Quota, now func() time.Time, metrics *Metrics) *accounts {
	return &accounts{quota: q, now: now, metrics: metrics, by: map[string]*account{}, swept: now()}
}

// enter takes a call on a caller's account, or refuses it and says when to ask
// again. A call that was taken must leave.
func (a *accounts) enter(name string) (leave func(), err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	a.sweep(now)
	one := a.by[name]
	if one == nil && len(a.by) >= maxCallers {
		name = others
		one = a.by[name]
	}
	if one == nil {
		one = &account{}
		if a.quota.PerSecond > 0 {
			one.bucket = rate.NewLimiter(rate.Limit(a.quota.PerSecond), max(1, a.quota.Burst))
		}
		a.by[name] = one
	}
	one.last = now
	if a.quota.Calls > 0 && one.inHand >= a.quota.Calls {
		a.metrics.refused.WithLabelValues("calls").Inc()
		return nil, refusal.Busy("calls of one caller", time.Second)
	}
	if one.bucket != nil {
		taken := one.bucket.ReserveN(now, 1)
		if wait := taken.DelayFrom(now); wait > 0 {
			taken.CancelAt(now)
			a.metrics.refused.WithLabelValues("rate").Inc()
			return nil, refusal.Busy("calls a second of one caller", max(wait, time.Millisecond))
		}
	}
	one.inHand++
	return func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		one.inHand--
	}, nil
}

// sweep forgets callers that rest, every so often.
func (a *accounts) sweep(now time.Time) {
	if now.Sub(a.swept) < forgetAfter {
		return
	}
	a.swept = now
	for name, one := range a.by {
		if one.inHand == 0 && now.Sub(one.last) >= forgetAfter {
			delete(a.by, name)
		}
	}
}

// account names the account of a call: its identity, or where that is not
// asked for, the machine that it came from.
func (a *accounts) account(ctx context.Context) string {
	if who := callOf(ctx).who.Name; who != "" {
		return "identity " + who
	}
	from := strings.TrimPrefix(caller(ctx), "http ")
	if host, _, err := net.SplitHostPort(from); err == nil {
		return host
	}
	return from
}

// free says that a method is not counted: a probe must not fail because a
// caller asks too much.
func free(method string) bool { return strings.HasPrefix(method, "/grpc.") }

func (a *accounts) admitUnary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if a.quota == (Quota{}) || free(info.FullMethod) {
		return next(ctx, req)
	}
	leave, err := a.enter(a.account(ctx))
	if err != nil {
		return nil, err
	}
	defer leave()
	return next(ctx, req)
}

func (a *accounts) admitStream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) error {
	if a.quota == (Quota{}) || free(info.FullMethod) {
		return next(srv, ss)
	}
	leave, err := a.enter(a.account(ss.Context()))
	if err != nil {
		return err
	}
	defer leave()
	return next(srv, ss)
}
