package sweep

import (
	"math"
	"strconv"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A column of some rows, in one of four kinds.
type column struct {
	name, kind string
	nullable   bool
	numbers    []float64 // of "number"; NaN is null
	counts     []int32   // of "count"
	texts      []string  // of "text"; empty is null where it is nullable
	flags      []int8    // of "flag"; below 0 is null
}

// A table is some rows of a sweep in columns.
type table struct {
	rows          int
	columns       []column
	refused, goes int
}

// tableOf puts the rows from and up to to of a block that begins with row first
// into columns.
func tableOf(spec *bowrollv1.SweepSpec, plan *Plan, columns []*bowrollv1.SweepColumn, b *Block, first, from, to int) *table {
	n := to - from
	t := &table{rows: n, columns: make([]column, len(columns))}
	for i, c := range columns {
		t.columns[i] = column{name: c.GetName(), kind: c.GetKind(), nullable: c.GetNullable()}
		switch c.GetKind() {
		case "number":
			t.columns[i].numbers = make([]float64, n)
		case "count":
			t.columns[i].counts = make([]int32, n)
		case "text":
			t.columns[i].texts = make([]string, n)
		case "flag":
			t.columns[i].flags = make([]int8, n)
		}
	}
	inputs, axes := make([]float64, len(plan.Axes)), t.columns[1:1+len(plan.Axes)]
	for r := range n {
		t.columns[0].counts[r] = int32(first + from + r)
		plan.Inputs(first+from+r, inputs)
		for i := range axes {
			switch axes[i].kind {
			case "number":
				axes[i].numbers[r] = inputs[i]
			case "count":
				axes[i].counts[r] = int32(inputs[i])
			default:
				axes[i].texts[r] = plan.Axes[i].Words[int(inputs[i])]
			}
		}
	}
	rest := t.columns[1+len(plan.Axes):]
	status, outcome, goes, faults := rest[0].texts, rest[1].texts, rest[2].flags, rest[len(rest)-1].texts
	for r := range n {
		if text, bad := b.Faults[from+r]; bad {
			status[r], goes[r], faults[r] = "INVALID_ARGUMENT", -1, text
			t.refused++
			continue
		}
		status[r], outcome[r], goes[r] = "OK", outcomeNames[b.Outcome[from+r]], int8(flag(b.Goes[from+r]))
		t.goes += int(goes[r])
	}
	for i, place := range kept(spec) {
		rest[3+i].numbers = b.Numbers[place][from:to]
	}
	return t
}

// outcomeNames are the names of outcomes by their numbers, made once: rows are
// many.
var outcomeNames = func() (names [256]string) {
	for number, name := range bowrollv1.Outcome_name {
		names[number] = name
	}
	return names
}()

// appendJSON appends a number as encoding/json does.
func appendJSON(b []byte, v float64) []byte {
	if size := math.Abs(v); size != 0 && (size < 1e-6 || size >= 1e21) {
		return strconv.AppendFloat(b, v, 'e', -1, 64)
	}
	return strconv.AppendFloat(b, v, 'f', -1, 64)
}
