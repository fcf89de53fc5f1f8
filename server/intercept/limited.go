package intercept

import (
	"context"
	"sync"
	"time"
)

// limited is a context with a deadline whose timer is set only once somebody waits
// for it. Most unary calls are over before anyone does, and setting and stopping a
// timer costs them as much as their answer's digest. It behaves as the context of
// [context.WithDeadline].
type limited struct {
	context.Context // of the call
	deadline        time.Time

	mu     sync.Mutex
	ended  bool
	armed  context.Context // with the timer; nil until somebody waits
	cancel context.CancelFunc
}

func newLimited(parent context.Context, within time.Duration) *limited {
	deadline := time.Now().Add(within)
	if earlier, ok := parent.Deadline(); ok && earlier.Before(deadline) {
		deadline = earlier
	}
	return &limited{Context: parent, deadline: deadline}
}

// Deadline is that of the class, or the caller's own where it is earlier.
func (l *limited) Deadline() (time.Time, bool) { return l.deadline, true }

// Done closes at the deadline and when the call ends.
func (l *limited) Done() <-chan struct{} { return l.arm().Done() }

// Err says why the call is over, or nil.
func (l *limited) Err() error {
	l.mu.Lock()
	armed, ended := l.armed, l.ended
	l.mu.Unlock()
	switch {
	case armed != nil:
		return armed.Err()
	case l.Context.Err() != nil:
		return l.Context.Err()
	case !time.Now().Before(l.deadline):
		return l.arm().Err()
	case ended:
		return context.Canceled
	}
	return nil
}

// Value is the call's. Contexts made from this one find the timer's, so that they
// end with it without a goroutine that waits.
func (l *limited) Value(key any) any {
	l.mu.Lock()
	armed := l.armed
	l.mu.Unlock()
	if armed != nil {
		return armed.Value(key)
	}
	return l.Context.Value(key)
}

// arm sets the timer, once.
func (l *limited) arm() context.Context {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.armed == nil {
		l.armed, l.cancel = context.WithDeadline(l.Context, l.deadline)
		if l.ended {
			l.cancel()
		}
	}
	return l.armed
}

// end is the end of the call.
func (l *limited) end() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ended = true
	if l.cancel != nil {
		l.cancel()
	}
}
