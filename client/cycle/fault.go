package cycle

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A Place is where a value was written: a line and column of a file, or the
// flag of a command line.
type Place struct {
	File   string // name of the file as given
	Line   int    // from 1; 0 where there is no line
	Column int    // from 1, in characters
	Flag   string // flag that gave the value; empty where a file did
}

// String gives the place as file:line:column, or as the flag.
func (p Place) String() string {
	name := p.File
	if name == "-" {
		name = "standard input"
	}
	switch {
	case p.Flag != "":
		return p.Flag
	case p.Line == 0:
		return name
	}
	return fmt.Sprintf("%s:%d:%d", name, p.Line, p.Column)
}

// A Fault is one thing wrong with what was written.
type Fault struct {
	Place   Place
	Path    string // keys that lead to the value, e.g. sorties[2].gross_mass
	Value   string // what was written; empty where nothing was
	Problem string // what is wrong with it, in a few words
	Allowed string // what would be accepted; empty where that is plain
	Hint    string // what to do about it; empty where that is plain
}

// missing is the problem of what is required and was not written.
const missing = "is missing"

// Error gives the fault as one line.
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.Place.String())
	b.WriteString(": ")
	if f.Path != "" {
		b.WriteString(f.Path)
		if f.Value != "" {
			fmt.Fprintf(&b, " %q", f.Value)
		}
		b.WriteString(": ")
	}
	b.WriteString(f.Problem)
	if f.Allowed != "" {
		b.WriteString("; allowed: " + f.Allowed)
	}
	if f.Hint != "" {
		b.WriteString("; " + f.Hint)
	}
	return b.String()
}

// Faults is everything wrong with what was written, in the order of the file.
type Faults []Fault

// Error gives one fault a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, fault := range f {
		lines[i] = fault.Error()
	}
	return strings.Join(lines, "\n")
}

// sorted puts the faults into the order of the file, flags last.
func (f Faults) sorted() Faults {
	slices.SortStableFunc(f, func(a, b Fault) int {
		return cmp.Or(
			cmp.Compare(a.Place.Flag, b.Place.Flag),
			cmp.Compare(a.Place.Line, b.Place.Line),
			cmp.Compare(a.Place.Column, b.Place.Column),
		)
	})
	return f
}
