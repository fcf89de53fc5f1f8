package server

import "time"

// Patience is how long the gateway waits for callers. A zero field is as in
// [DefaultPatience].
type Patience struct {
	// Header is for a request's headers, Body for those and its body, Answer for
	// an answer to be taken, Idle between the requests of a connection.
	Header, Body, Answer, Idle time.Duration
	// Line is for a line of a stream to come or to be taken.
	Line time.Duration
}

// DefaultPatience is what callers get unless it is said otherwise.
func DefaultPatience() Patience {
	return Patience{
		Header: 5 * time.Second, Body: 30 * time.Second, Answer: time.Minute, Idle: 2 * time.Minute, Line: 30 * time.Second,
	}
}

// filled is p with the defaults where it says nothing.
func (p Patience) filled() Patience {
	d := DefaultPatience()
	for _, field := range []struct{ to, from *time.Duration }{
		{&p.Header, &d.Header}, {&p.Body, &d.Body}, {&p.Answer, &d.Answer}, {&p.Idle, &d.Idle}, {&p.Line, &d.Line},
	} {
		if *field.to == 0 {
			*field.to = *field.from
		}
	}
	return p
}
