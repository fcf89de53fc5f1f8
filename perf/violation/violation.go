// Package violation collects everything that is wrong with an input, so that a
// caller sees every fault at once and not the first one only.
//
// Each [Violation] names the field by its snake_case path (air.temperature_c,
// flaps[1].cl_max), the value found, what is allowed and, where it helps, what
// to do. A [List] is an error; [List.Err] turns an empty one into nil.
package violation

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Violation is one field that breaks one rule.
type Violation struct {
	Field   string // path of the field, snake_case with the unit in its name
	Value   string // the value found, or "absent"
	Allowed string // what would be accepted
	Hint    string // what to do, or empty
}

// Error gives the violation as one line.
func (v Violation) Error() string {
	line := v.Field + " is " + v.Value + ": must be " + v.Allowed
	if v.Hint != "" {
		line += " (" + v.Hint + ")"
	}
	return line
}

// A List is every violation found, in the order of the fields checked.
type List []Violation

// Error gives one violation a line.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, v := range l {
		lines[i] = v.Error()
	}
	return strings.Join(lines, "\n")
}

// Err returns l as an error, or nil when nothing was found.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// Add records a violation of field.
func (l *List) Add(field, value, allowed, hint string) {
	*l = append(*l, Violation{Field: field, Value: value, Allowed: allowed, Hint: hint})
}

// Absent records that field was not given.
func (l *List) Absent(field, allowed, hint string) {
	l.Add(field, "absent", allowed, hint)
}

// Range records a violation unless low <= value <= high, and reports whether
// the value was accepted. NaN never is.
func (l *List) Range(field string, value, low, high float64, hint string) bool {
	if value >= low && value <= high {
		return true
	}
	l.Add(field, Number(value), "from "+Number(low)+" to "+Number(high), hint)
	return false
}

// Positive records a violation unless value is finite and above zero, and
// reports whether it was accepted.
func (l *List) Positive(field string, value float64, hint string) bool {
	if value > 0 && !math.IsInf(value, 0) {
		return true
	}
	l.Add(field, Number(value), "a finite number above 0", hint)
	return false
}

// NotNegative records a violation unless value is finite and at least zero, and
// reports whether it was accepted.
func (l *List) NotNegative(field string, value float64, hint string) bool {
	if value >= 0 && !math.IsInf(value, 0) {
		return true
	}
	l.Add(field, Number(value), "a finite number of at least 0", hint)
	return false
}

// Finite records a violation when value is NaN or infinite, and reports whether
// it was accepted.
func (l *List) Finite(field string, value float64, hint string) bool {
	if !math.IsNaN(value) && !math.IsInf(value, 0) {
		return true
	}
	l.Add(field, Number(value), "a finite number", hint)
	return false
}

// Nest appends the violations inside err with prefix and a dot before each
// field. An err that is no List becomes one violation of prefix itself; nil
// adds nothing.
func (l *List) Nest(prefix string, err error) {
	if err == nil {
		return
	}
	var inner List
	if !errors.As(err, &inner) {
		l.Add(prefix, "refused", "valid", err.Error())
		return
	}
	for _, v := range inner {
		if strings.HasPrefix(v.Field, "[") {
			v.Field = prefix + v.Field
		} else {
			v.Field = prefix + "." + v.Field
		}
		*l = append(*l, v)
	}
}

// Number writes a value the way violations show it.
func Number(value float64) string {
	return strconv.FormatFloat(value, 'g', -1, 64)
}

// Index writes the path of one element of a list.
func Index(field string, i int) string {
	return fmt.Sprintf("%s[%d]", field, i)
}
