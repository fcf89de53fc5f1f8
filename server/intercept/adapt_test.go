package intercept

import (
	"math"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
)

// clocked is a clock turned by hand and a pressure told by hand.
type clocked struct {
	at     time.Time
	waited time.Duration
	asked  int
}

func (c *clocked) now() time.Time { return c.at }

func (c *clocked) pressure() time.Duration {
	c.asked++
	return c.waited
}

func clockedPlaces(t *testing.T, c *clocked, classes Classes) *Places {
	t.Helper()
	metrics, err := NewMetrics(prometheus.NewRegistry())
	if err != nil {
		t.Fatal(err)
	}
	return newPlaces(Chain{Log: zap.NewNop(), Classes: classes, Metrics: metrics, Now: c.now, Pressure: c.pressure, Least: 2})
}

// TestTheLimitFollowsTheLoad fills a class while work waits, then lets it rest.
func TestTheLimitFollowsTheLoad(t *testing.T) {
	c := &clocked{at: time.Unix(1000, 0)}
	p := clockedPlaces(t, c, Classes{"/a": {Name: "a", InFlight: 64}, "/idle": {Name: "idle", InFlight: 8}})
	at := p.of["/a"]
	// fill asks for more than there is and returns how many got a place.
	fill := func() (got int64) {
		for range 100 {
			if p.enter(at) == nil {
				got++
			}
		}
		for range got {
			at.leave()
		}
		return got
	}
	if got := fill(); got != 64 {
		t.Fatalf("%d places before anything waits", got)
	}
	c.waited = 10 * time.Millisecond
	last := int64(64)
	for range 30 {
		c.at = c.at.Add(adaptEvery)
		got := fill()
		if got > last || got < 2 || got < last/2 {
			t.Fatalf("from %d to %d places while work waits", last, got)
		}
		last = got
	}
	if last != 2 {
		t.Errorf("%d places after long waiting, want the least", last)
	}
	if got := p.of["/idle"].limit.now.Load(); got != 8 {
		t.Errorf("a class that nobody calls fell to %d", got)
	}
	c.waited = waitTarget / 2
	c.at = c.at.Add(adaptEvery)
	if got := fill(); got != 3 {
		t.Errorf("%d places one interval after the waiting ended, want one more", got)
	}
	c.at = c.at.Add(time.Hour)
	if got := fill(); got != 64 {
		t.Errorf("%d places after a rest, want all", got)
	}
	if taken := at.taken.Load(); taken != 0 {
		t.Errorf("%d places were not given back", taken)
	}
}

// TestLimitsMoveOnlyEverySoOften turns no clock, and then a little.
func TestLimitsMoveOnlyEverySoOften(t *testing.T) {
	c := &clocked{at: time.Unix(1000, 0), waited: time.Second}
	p := clockedPlaces(t, c, Classes{"/a": {Name: "a", InFlight: 4}})
	for range 50 {
		if err := p.enter(p.of["/a"]); err == nil {
			p.of["/a"].leave()
		}
		c.at = c.at.Add(adaptEvery / 100)
	}
	if c.asked != 0 {
		t.Errorf("asked %d times within one interval", c.asked)
	}
}

// TestASmallClassKeepsItsLimit whatever waits.
func TestASmallClassKeepsItsLimit(t *testing.T) {
	l := newLimits(nil, 8, time.Now, nil).add(&Class{InFlight: 5}, prometheus.NewGauge(prometheus.GaugeOpts{Name: "x"}))
	for range 9 {
		l.used(5)
		l.step(time.Second, 1)
	}
	if got := l.now.Load(); got != 5 {
		t.Errorf("it fell to %d", got)
	}
}

// TestBusyTakesNoPlace asks often and then fills.
func TestBusyTakesNoPlace(t *testing.T) {
	c := &clocked{at: time.Unix(1000, 0)}
	p := clockedPlaces(t, c, Classes{"/a": {Name: "a", InFlight: 1}})
	for range 10 {
		if err := p.Busy("/a"); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.enter(p.of["/a"]); err != nil {
		t.Fatal(err)
	}
	if p.Busy("/a") == nil || p.enter(p.of["/a"]) == nil {
		t.Error("taken on beyond the limit")
	}
	if err := p.Busy("/of no class"); err != nil {
		t.Error(err)
	}
}

func TestQuantile(t *testing.T) {
	edges := []float64{math.Inf(-1), 0, 0.001, 0.002, math.Inf(1)}
	for _, c := range []struct {
		counts []uint64
		want   time.Duration
	}{
		{[]uint64{0, 0, 0, 0}, 0},
		{[]uint64{0, 9, 1, 0}, time.Millisecond},
		{[]uint64{0, 8, 2, 0}, 2 * time.Millisecond},
		{[]uint64{0, 0, 0, 5}, 2 * time.Millisecond}, // beyond the last edge it says at least
	} {
		if got := quantile(c.counts, edges, 0.9); got != c.want {
			t.Errorf("%v: %v, want %v", c.counts, got, c.want)
		}
	}
}

// TestTheSchedulerTellsOfWaiting makes far more work than there are processors.
func TestTheSchedulerTellsOfWaiting(t *testing.T) {
	pressure := SchedulerPressure()
	pressure()
	done := make(chan struct{})
	for range 400 {
		go func() {
			for began := time.Now(); time.Since(began) < 2*time.Millisecond; {
			}
			done <- struct{}{}
		}()
	}
	for range 400 {
		<-done
	}
	if waited := pressure(); waited < waitTarget {
		t.Errorf("400 goroutines of 2 ms each waited %v", waited)
	}
}
