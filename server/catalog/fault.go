package catalog

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// A Fault is one thing that is wrong with one file, and where.
type Fault struct {
	File   string // path in the catalog's folder
	Line   int    // from 1; 0 where the fault is of the file as a whole
	Column int    // from 1
	// Violation says what is wrong; its field is the path in the file, such as
	// "decks[0].spots[2].available_m".
	Violation *bowrollv1.Violation
}

// Error gives the fault as one line.
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", f.Line, f.Column)
	}
	b.WriteString(": ")
	b.WriteString(strings.TrimLeft(refusal.Line(f.Violation), " :"))
	return b.String()
}

// Faults is every fault of a catalog, in the order of files, lines and columns.
type Faults []Fault

// Error gives one fault a line, under a line with their number.
func (fs Faults) Error() string {
	lines := make([]string, 0, len(fs)+1)
	if len(fs) == 1 {
		lines = append(lines, "the catalog has 1 fault:")
	} else {
		lines = append(lines, fmt.Sprintf("the catalog has %d faults:", len(fs)))
	}
	for _, f := range fs {
		lines = append(lines, f.Error())
	}
	return strings.Join(lines, "\n")
}

// sortFaults puts faults in order and drops repetitions.
func sortFaults(fs Faults) Faults {
	slices.SortStableFunc(fs, func(a, b Fault) int {
		return cmp.Or(
			cmp.Compare(a.File, b.File),
			cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Column, b.Column),
			cmp.Compare(a.Violation.GetField(), b.Violation.GetField()),
			cmp.Compare(a.Error(), b.Error()),
		)
	})
	return slices.CompactFunc(fs, func(a, b Fault) bool { return a.Error() == b.Error() })
}
