package intercept

import (
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// How limits follow the load. Work that is ready to go on and waits longer than
// waitTarget for a processor is more work than there are processors for: the
// limits fall by a quarter. While it waits less they rise by one. Both at most
// once every adaptEvery.
const (
	waitTarget = 2 * time.Millisecond
	adaptEvery = 50 * time.Millisecond
)

// Pressure returns how long work that was ready waited for a processor since it
// was last asked.
type Pressure func() time.Duration

// limit is how many calls of a class are taken on at once, from least to most.
type limit struct {
	least, most int64
	now         atomic.Int64
	// peak is the most that were in hand since the limit was last looked at.
	peak atomic.Int64
	told prometheus.Gauge
}

// used says that n calls are in hand. Of two that say so at once the lower may
// win, which costs a step of adapting and no place.
func (l *limit) used(n int64) {
	if n > l.peak.Load() {
		l.peak.Store(n)
	}
}

// step moves the limit by what was waited in each of so many intervals, the last
// of them with calls. A class that was not half full is not what others wait
// for, and keeps its limit.
func (l *limit) step(waited time.Duration, intervals int64) {
	at, peak := l.now.Load(), l.peak.Swap(0)
	switch {
	case waited <= waitTarget:
		at = min(l.most, at+intervals)
	case 2*peak >= at:
		at = max(l.least, at-max(1, at/4))
	}
	l.now.Store(at)
	l.told.Set(float64(at))
}

// limits are the limits of all classes, which share the processors.
type limits struct {
	pressure Pressure
	least    int
	now      func() time.Time
	wait     prometheus.Gauge
	all      []*limit
	// last is when they were last moved; whoever holds moving moves them.
	last   atomic.Int64
	moving sync.Mutex
}

func newLimits(pressure Pressure, least int, now func() time.Time, wait prometheus.Gauge) *limits {
	l := &limits{pressure: pressure, least: max(1, least), now: now, wait: wait}
	l.last.Store(now().UnixNano())
	return l
}

func (l *limits) add(class *Class, told prometheus.Gauge) *limit {
	one := &limit{least: int64(min(l.least, class.InFlight)), most: int64(class.InFlight), told: told}
	one.now.Store(one.most)
	told.Set(float64(one.most))
	l.all = append(l.all, one)
	return one
}

// adapt moves the limits where it is time to. It is called with every call, so
// that there is nothing to run beside them.
func (l *limits) adapt() {
	now := l.now().UnixNano()
	if l.pressure == nil || now-l.last.Load() < int64(adaptEvery) || !l.moving.TryLock() {
		return
	}
	defer l.moving.Unlock()
	intervals := (now - l.last.Load()) / int64(adaptEvery)
	if intervals < 1 { // another was first
		return
	}
	l.last.Store(now)
	waited := l.pressure()
	l.wait.Set(waited.Seconds())
	for _, one := range l.all {
		one.step(waited, intervals)
	}
}
