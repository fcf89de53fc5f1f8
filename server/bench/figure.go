package main

import (
	"fmt"
	"io"
)

// figure is one measured number and the bar that it must clear.
type figure struct {
	name    string
	value   float64
	unit    string
	bar     float64 // 0 means none: for information
	atLeast bool    // the value must be at least the bar; else at most
}

func (f figure) passes() bool {
	return f.bar == 0 || f.atLeast && f.value >= f.bar || !f.atLeast && f.value <= f.bar
}

// print writes one line: name, value, bar, verdict.
func (f figure) print(w io.Writer) {
	bar, verdict := "-", "-"
	if f.bar != 0 {
		bar, verdict = fmt.Sprintf("<=%g", f.bar), "ok"
		if f.atLeast {
			bar = fmt.Sprintf(">=%g", f.bar)
		}
		if !f.passes() {
			verdict = "MISSED"
		}
	}
	fmt.Fprintf(w, "%-28s %10.4g%-3s %-8s %s\n", f.name, f.value, f.unit, bar, verdict)
}
