package cycle

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"unicode/utf8"
)

// A cell is one field of a CSV file.
type cell struct {
	text  string
	place Place
}

// readTable reads a CSV file: a line of column names, then rows of as many cells.
// Broken rows are left out, each with its fault, and reading goes on behind them.
func readTable(file string, source []byte) (names []cell, rows [][]cell, faults Faults) {
	source = bytes.TrimPrefix(source, []byte("\xef\xbb\xbf"))
	lines := bytes.Split(source, []byte("\n"))
	// place counts characters, where the reader counts bytes.
	place := func(line, column int) Place {
		before := lines[line-1]
		return Place{File: file, Line: line, Column: utf8.RuneCount(before[:min(column-1, len(before))]) + 1}
	}
	r := csv.NewReader(bytes.NewReader(source))
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = true
	for {
		record, err := r.Read()
		var broken *csv.ParseError
		switch {
		case errors.Is(err, io.EOF) && names == nil && len(faults) == 0:
			return nil, nil, Faults{{Place: Place{File: file, Line: 1, Column: 1}, Problem: "has no line of column names"}}
		case errors.Is(err, io.EOF):
			return names, rows, faults
		case errors.As(err, &broken): // it has no cells whose place could be asked for
			faults = append(faults, Fault{Place: place(broken.Line, broken.Column), Problem: "not readable as CSV: " + broken.Err.Error()})
			if names == nil {
				return nil, nil, faults
			}
			continue
		}
		cells := make([]cell, len(record))
		for i, text := range record {
			cells[i] = cell{text, place(r.FieldPos(i))}
		}
		switch {
		case names == nil:
			names = cells
		case len(cells) != len(names):
			faults = append(faults, Fault{Place: cells[0].place, Problem: fmt.Sprintf("has %d fields, and the first line %d", len(cells), len(names))})
		default:
			rows = append(rows, cells)
		}
	}
}
