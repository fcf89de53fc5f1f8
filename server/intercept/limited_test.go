package intercept

import (
	"context"
	"errors"
	"testing"
	"time"
)

type key struct{}

func TestALimitedContextIsOneWithADeadline(t *testing.T) {
	values := context.WithValue(context.Background(), key{}, "v")
	soon, stop := context.WithDeadline(values, time.Now().Add(20*time.Millisecond))
	defer stop()

	l := newLimited(values, time.Hour)
	if at, ok := l.Deadline(); !ok || time.Until(at) < 59*time.Minute || l.Err() != nil || l.Value(key{}) != "v" {
		t.Error("a fresh one")
	}
	child, cancel := context.WithCancel(l)
	defer cancel()
	l.end()
	<-l.Done()
	<-child.Done()
	if l.Err() != context.Canceled || child.Err() != context.Canceled || child.Value(key{}) != "v" {
		t.Errorf("ended: %v, %v", l.Err(), child.Err())
	}

	// Ended before anybody waited.
	l = newLimited(values, time.Hour)
	l.end()
	if l.Err() != context.Canceled {
		t.Error(l.Err())
	}
	<-l.Done()

	// The caller's own deadline is earlier, and is seen with and without waiting.
	for _, wait := range []bool{true, false} {
		l = newLimited(soon, time.Hour)
		if wait {
			<-l.Done()
		}
		if at, _ := l.Deadline(); time.Until(at) > 20*time.Millisecond || !errors.Is(l.Err(), context.DeadlineExceeded) {
			t.Errorf("waiting %v: %v", wait, l.Err())
		}
		l.end()
	}

	// The class's own passes while nobody waits.
	l = newLimited(values, time.Millisecond)
	defer l.end()
	time.Sleep(2 * time.Millisecond)
	if !errors.Is(l.Err(), context.DeadlineExceeded) || !errors.Is(context.Cause(l), context.DeadlineExceeded) {
		t.Error(l.Err())
	}

	// A call that its caller gives up.
	gone, give := context.WithCancel(values)
	l = newLimited(gone, time.Hour)
	defer l.end()
	give()
	if l.Err() != context.Canceled {
		t.Error(l.Err())
	}
}
