package main

import (
	"fmt"
	"strings"
	"sync"
	"time"
)

// A report is what is being waited for, and how far that is.
type report struct {
	mu          sync.Mutex
	what        string
	how         string
	done, total int // of what is counted; total is 0 where nothing is
	// open says that no time-out ends it, and that how says what is known of the
	// time left.
	open bool
	// several says that it is more than one call, so that the time-out of a call
	// says nothing of the whole.
	several bool
}

func newReport(what string) *report { return &report{what: what} }

// newReportOfSeveral is a report of what takes more than one call.
func newReportOfSeveral(what string) *report { return &report{what: what, several: true} }

// say notes how far it is.
func (r *report) say(how string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.how = how
}

// counted notes how many of how many are done.
func (r *report) counted(done, total int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.done, r.total = done, total
}

// part is what is done of what is counted, 0 to 1; 0 where nothing is.
func (r *report) part() float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.total <= 0 {
		return 0
	}
	return min(1, float64(r.done)/float64(r.total))
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
// and where somebody watches. The function it returns takes the line away, which
// must be done before anything else is written; once more does nothing.
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
				if r.open {
					fmt.Fprintf(p.stderr, "\r%s\x1b[K", openLine(r.text(), r.part(), width))
					continue
				}
				most := p.line.Timeout
				if r.several {
					most = 0
				}
				fmt.Fprintf(p.stderr, "\r%s\x1b[K", progressLine(r.text(), r.part(), time.Since(began), most, width))
			case <-ended:
				if shown {
					fmt.Fprint(p.stderr, "\r\x1b[K")
				}
				return
			}
		}
	}()
	return sync.OnceFunc(func() { close(ended); <-gone })
}

// barColumns is the length of a progress bar.
const barColumns = 16

// progressLine fits into one line of a terminal, so that the next can take its
// place. With a part done it has a bar and the time that is left at this pace;
// otherwise how long it has taken and the longest that it may still take, where
// most says that: a call that answers once tells nothing in between.
func progressLine(text string, part float64, spent, most time.Duration, width int) string {
	if part > 0 {
		left := time.Duration(float64(spent) * (1 - part) / part)
		if most > 0 {
			left = min(left, max(0, most-spent))
		}
		return fitLine(barOf(part), text, fmt.Sprintf(", about %.0f s left; Ctrl-C stops", left.Seconds()), width)
	}
	end := fmt.Sprintf(", %.0f s so far", spent.Seconds())
	if most > spent {
		end = fmt.Sprintf(", %.0f s of at most %.0f s", spent.Seconds(), most.Seconds())
	}
	return fitLine("", text, end+"; Ctrl-C stops", width)
}

// openLine is the line of what no time-out ends.
func openLine(text string, part float64, width int) string {
	return fitLine(barOf(part), text, "; Ctrl-C stops", width)
}

// barOf draws the part that is done; nothing where none is.
func barOf(part float64) string {
	if part <= 0 {
		return ""
	}
	filled := int(part * barColumns)
	return "[" + strings.Repeat("#", filled) + strings.Repeat(".", barColumns-filled) + "] "
}

// fitLine shortens the text to what the terminal has room for.
func fitLine(bar, text, end string, width int) string {
	if room := width - 1 - len(bar) - len(end); len(text) > room {
		text = text[:max(0, room)]
	}
	return bar + text + end
}
