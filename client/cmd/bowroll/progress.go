package main

import (
	"fmt"
	"time"
)

// waiting says on stderr what is being waited for, once it takes over a second
// and where somebody watches. The function it returns takes the line away.
func (p *program) waiting(what string) (done func()) {
	if _, watched := terminal(p.stderr); !watched {
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
				fmt.Fprintf(p.stderr, "\r%s, %.0f s of at most %.0f s; Ctrl-C stops\x1b[K", what,
					time.Since(began).Seconds(), p.line.Timeout.Seconds())
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
