package main

import (
	"fmt"
	"sync"
	"time"
)

// A report is what is being waited for, and how far that is.
type report struct {
	mu   sync.Mutex
	what string
	how  string
}

func newReport(what string) *report { return &report{what: what} }

// say notes how far it is.
func (r *report) say(how string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.how = how
}

func (r *report) text() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.how == "" {
		return r.what
	}
	return r.what + ": " + r.how
}

// waiting says on stderr what is being waited for, once it takes over a second
// and where somebody watches. The function it returns takes the line away.
func (p *program) waiting(r *report) (done func()) {
	width, watched := terminal(p.stderr)
	if !watched {
		return func() {}
	}
	ended, gone := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(gone)
		began, shown := time.Now(), false
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				shown = true
				fmt.Fprintf(p.stderr, "\r%s\x1b[K", progressLine(r.text(), time.Since(began), p.line.Timeout, width))
			case <-ended:
				if shown {
					fmt.Fprint(p.stderr, "\r\x1b[K")
				}
				return
			}
		}
	}()
	return func() { close(ended); <-gone }
}

// progressLine fits into one line of a terminal, so that the next can take its
// place.
func progressLine(text string, spent, most time.Duration, width int) string {
	end := fmt.Sprintf(", %.0f s of at most %.0f s; Ctrl-C stops", spent.Seconds(), most.Seconds())
	if room := width - 1 - len(end); len(text) > room {
		text = text[:max(0, room)]
	}
	return text + end
}
