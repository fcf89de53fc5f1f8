package published

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Row is one published value.
type Row struct {
	ID       string
	Title    string
	Method   string
	Inputs   string
	Expected float64
	Unit     string
	// Tolerance is the greatest deviation, in Unit; nil where the row is only
	// shown.
	Tolerance *float64
	Obtained  string
	Source    string
}

// columns of the file, in order.
var columns = []string{"id", "title", "method", "inputs", "expected", "unit", "tolerance", "obtained", "source"}

// obtained are the ways in which a value came to be known. All but the last may
// decide.
var obtained = []string{"read", "second-hand", "computed", fromMemory}

const fromMemory = "memory"

// Read reads a file of published values. It returns every fault of the file
// joined, each with its line.
func Read(r io.Reader) ([]Row, error) {
	reader := csv.NewReader(r)
	reader.FieldsPerRecord = len(columns)
	header, err := reader.Read()
	if err != nil {
		return nil, fmt.Errorf("published values: %w", err)
	}
	if !slices.Equal(header, columns) {
		return nil, fmt.Errorf("published values: the columns are %q, not %q", header, columns)
	}
	var rows []Row
	var faults []error
	seen := map[string]bool{}
	for {
		record, err := reader.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, errors.Join(append(faults, fmt.Errorf("published values: %w", err))...)
		}
		line, _ := reader.FieldPos(0)
		row, err := readRow(record)
		if err == nil && seen[row.ID] {
			err = fmt.Errorf("id %q is given twice", row.ID)
		}
		if err != nil {
			faults = append(faults, fmt.Errorf("published values, line %d: %w", line, err))
			continue
		}
		seen[row.ID] = true
		rows = append(rows, row)
	}
	return rows, errors.Join(faults...)
}

func readRow(record []string) (Row, error) {
	row := Row{
		ID: record[0], Title: record[1], Method: record[2], Inputs: record[3],
		Unit: record[5], Obtained: record[7], Source: record[8],
	}
	for i, name := range columns {
		if record[i] == "" && name != "tolerance" {
			return row, fmt.Errorf("%s is empty", name)
		}
	}
	var err error
	if row.Expected, err = finite(record[4]); err != nil {
		return row, fmt.Errorf("expected: %w", err)
	}
	if !slices.Contains(obtained, row.Obtained) {
		return row, fmt.Errorf("obtained is %q, not one of %s", row.Obtained, strings.Join(obtained, ", "))
	}
	if record[6] != "" {
		t, err := tolerance(record[6], row.Expected)
		if err != nil {
			return row, fmt.Errorf("tolerance: %w", err)
		}
		row.Tolerance = &t
	}
	if row.Obtained == fromMemory && row.Tolerance != nil {
		return row, errors.New("a value from memory decides nothing: leave the tolerance empty")
	}
	return row, nil
}

// tolerance reads "0.5", "0.1 %" or "1e-6 of it".
func tolerance(text string, expected float64) (float64, error) {
	scale := 1.0
	if part, ok := strings.CutSuffix(text, " %"); ok {
		text, scale = part, math.Abs(expected)/100
	} else if part, ok := strings.CutSuffix(text, " of it"); ok {
		text, scale = part, math.Abs(expected)
	}
	t, err := finite(text)
	if err == nil && t <= 0 {
		err = errors.New("must be above 0")
	}
	return t * scale, err
}

func finite(text string) (float64, error) {
	f, err := strconv.ParseFloat(text, 64)
	if err == nil && (math.IsNaN(f) || math.IsInf(f, 0)) {
		err = fmt.Errorf("%q is not finite", text)
	}
	return f, err
}

// Check computes today's figure and holds it against the published one. An error
// is a fault of the row: an unknown method, or inputs that do not suit it.
func (row Row) Check() (*bowrollv1.PublishedCheck, error) {
	computed, err := row.compute()
	if err != nil {
		return nil, fmt.Errorf("published value %s: %w", row.ID, err)
	}
	c := &bowrollv1.PublishedCheck{
		Id: row.ID, Title: row.Title, Source: row.Source, Obtained: row.Obtained, Unit: row.Unit,
		Expected: row.Expected, Computed: computed, Deviation: computed - row.Expected,
		Verdict: bowrollv1.Verdict_VERDICT_SHOWN,
	}
	if row.Unit == "deg" {
		c.Deviation = math.Remainder(c.Deviation, 360)
	}
	if row.Tolerance == nil {
		return c, nil
	}
	c.Tolerance = *row.Tolerance
	c.Verdict = bowrollv1.Verdict_VERDICT_FAILS
	if math.Abs(c.Deviation) <= c.Tolerance {
		c.Verdict = bowrollv1.Verdict_VERDICT_HOLDS
	}
	return c, nil
}

// Checks reads a file of published values and checks each, in the order of the
// file.
func Checks(r io.Reader) ([]*bowrollv1.PublishedCheck, error) {
	rows, err := Read(r)
	if err != nil {
		return nil, err
	}
	checks := make([]*bowrollv1.PublishedCheck, len(rows))
	for i, row := range rows {
		if checks[i], err = row.Check(); err != nil {
			return nil, err
		}
	}
	return checks, nil
}
