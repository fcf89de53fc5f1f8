package main

import (
	"fmt"
	"io"
)

// A figure is one measured number and the bar it must clear.
type figure struct {
	name    string
	value   float64
	unit    string
	bar     float64
	noBar   bool   // for information
	atLeast bool   // the value must be at least the bar; else at most
	skipped string // why it was not measured
}

func (f figure) passes() bool {
	switch {
	case f.noBar:
		return true
	case f.atLeast:
		return f.value >= f.bar
	}
	return f.value <= f.bar
}

// print writes one line: name, value, bar, verdict.
func (f figure) print(w io.Writer) {
	bar, verdict := fmt.Sprintf("<=%g", f.bar), "ok"
	switch {
	case f.noBar:
		bar, verdict = "-", "-"
	case f.atLeast:
		bar = fmt.Sprintf(">=%g", f.bar)
	}
	if f.skipped != "" {
		fmt.Fprintf(w, "%-28s %12s %-8s skipped: %s\n", f.name, "-", bar, f.skipped)
		return
	}
	if !f.passes() {
		verdict = "MISSED"
	}
	fmt.Fprintf(w, "%-28s %10.4g%-2s %-8s %s\n", f.name, f.value, f.unit, bar, verdict)
}
