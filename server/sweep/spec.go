package sweep

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/nearest"
)

// MostRows is the most that one sweep computes.
const MostRows = 200_000_000

// DefaultSeed is the seed of a sample that names none.
const DefaultSeed = 1

// faults collects violations.
type faults struct{ list []*bowrollv1.Violation }

func (f *faults) add(field, value, rule, allowed, hint string) {
	f.list = append(f.list, &bowrollv1.Violation{Field: field, Value: value, Rule: rule, Allowed: allowed, Hint: hint})
}

// Check returns every fault of the axes, the method and the columns of a spec
// that stands at prefix. What the case itself lacks is for whoever computes it.
func Check(prefix string, s *bowrollv1.SweepSpec) []*bowrollv1.Violation {
	f, known := &faults{}, fieldsOfCase()
	grid := s.GetMethod() == bowrollv1.SweepMethod_SWEEP_METHOD_GRID
	seen := map[string]int{}
	for i, a := range s.GetAxes() {
		at := prefix + ".axes[" + strconv.Itoa(i) + "]"
		if j, again := seen[a.GetField()]; again {
			f.add(at+".field", strconv.Quote(a.GetField()), "unique", "an axis of its own", "axes["+strconv.Itoa(j)+"] varies it already")
		}
		seen[a.GetField()] = i
		way, ok := known[a.GetField()]
		if !ok {
			hint := "paths are those of a take-off case, e.g. headwind_mps or air.temperature_c"
			if near, found := nearestField(a.GetField(), known); found {
				hint = "did you mean " + near + "?"
			}
			f.add(at+".field", strconv.Quote(a.GetField()), "known", "the path of a number, a name or an enumeration of a take-off case", hint)
		}
		f.axis(at, a, way, grid)
	}
	f.size(prefix, s, grid)
	for i, name := range s.GetColumns() {
		if numberColumn(name) < 0 {
			hint := ""
			if near, found := nearest.Of(name, numberNames()); found {
				hint = "did you mean " + near + "?"
			}
			f.add(fmt.Sprintf("%s.columns[%d]", prefix, i), strconv.Quote(name), "known", "one of "+strings.Join(numberNames(), ", "), hint)
		}
	}
	return f.list
}

// nearestField finds the path that was probably meant, by its last word too:
// temperature_c is air.temperature_c.
func nearestField(word string, known fields) (string, bool) {
	names := known.names()
	for _, name := range names {
		if strings.HasSuffix(name, "."+word) && strings.Count(name, ".") == 1 {
			return name, true
		}
	}
	return nearest.Of(word, names)
}

// axis judges how one axis varies.
func (f *faults) axis(at string, a *bowrollv1.SweepAxis, way path, grid bool) {
	given := 0
	for _, is := range []bool{len(a.GetValues()) > 0, len(a.GetWords()) > 0, a.GetRange() != nil, a.GetDistribution() != nil} {
		if is {
			given++
		}
	}
	if given != 1 {
		f.add(at, "", "one-of", "one of values, words, range and distribution", "")
	}
	if d := a.GetDistribution(); d != nil {
		if grid {
			f.add(at+".distribution", "", "goes-with", "a sample", "a grid takes values or a range; for drawn values choose SWEEP_METHOD_LATIN_HYPERCUBE or SWEEP_METHOD_RANDOM")
		}
		f.distribution(at+".distribution", d)
	}
	if way == nil {
		return
	}
	switch {
	case way.worded() && len(a.GetWords()) == 0:
		f.add(at, "", "words", "words", a.GetField()+" holds a name, not a number")
	case !way.worded() && len(a.GetWords()) > 0:
		f.add(at+".words", "", "goes-with", "values, range or distribution", a.GetField()+" holds a number")
	}
	if way.leaf().Kind() == protoreflect.Int32Kind {
		f.whole(at, a)
	}
	if enum := way.leaf().Enum(); enum != nil {
		var names []string
		for i := range enum.Values().Len() {
			if v := enum.Values().Get(i); v.Number() != 0 {
				names = append(names, string(v.Name()))
			}
		}
		for i, word := range a.GetWords() {
			if !slices.Contains(names, word) {
				f.add(fmt.Sprintf("%s.words[%d]", at, i), strconv.Quote(word), "enum", "one of "+strings.Join(names, ", "), "")
			}
		}
	}
}

// whole refuses what is no whole number for a field that counts.
func (f *faults) whole(at string, a *bowrollv1.SweepAxis) {
	for i, v := range a.GetValues() {
		if v != math.Trunc(v) || math.Abs(v) > math.MaxInt32 {
			f.add(fmt.Sprintf("%s.values[%d]", at, i), number(v), "whole", "a whole number", "")
		}
	}
	if a.GetDistribution() != nil {
		f.add(at+".distribution", "", "whole", "values or a range of whole numbers", a.GetField()+" counts")
	}
	if r := a.GetRange(); r.GetCount() > 1 {
		step := (r.GetLastValue() - r.GetFirstValue()) / float64(r.GetCount()-1)
		if r.GetFirstValue() != math.Trunc(r.GetFirstValue()) || step != math.Trunc(step) {
			f.add(at+".range", "", "whole", "whole numbers a whole number apart", "")
		}
	}
}

// distribution judges bounds and the parameters of the shape.
func (f *faults) distribution(at string, d *bowrollv1.SweepDistribution) {
	least, greatest := d.GetLeastValue(), d.GetGreatestValue()
	if d.LeastValue != nil && d.GreatestValue != nil && !(least < greatest) {
		f.add(at+".greatest_value", number(greatest), "range", "above least_value ("+number(least)+")", "")
	}
	normal := d.GetShape() == bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL
	middle := normal || d.GetShape() == bowrollv1.SweepShape_SWEEP_SHAPE_TRIANGULAR
	if d.GetShape() == bowrollv1.SweepShape_SWEEP_SHAPE_UNSPECIFIED {
		return
	}
	switch {
	case middle && d.MiddleValue == nil:
		f.add(at+".middle_value", "", "required", "given with this shape", "")
	case !middle && d.MiddleValue != nil:
		f.add(at+".middle_value", number(d.GetMiddleValue()), "goes-with", "a normal or a triangular", "")
	case middle && (d.GetMiddleValue() < least || d.GetMiddleValue() > greatest):
		f.add(at+".middle_value", number(d.GetMiddleValue()), "range", number(least)+" to "+number(greatest), "")
	}
	switch {
	case normal && d.Sigma == nil:
		f.add(at+".sigma", "", "required", "given with a normal", "")
	case !normal && d.Sigma != nil:
		f.add(at+".sigma", number(d.GetSigma()), "goes-with", "a normal", "")
	}
}

// size judges how many rows there are.
func (f *faults) size(prefix string, s *bowrollv1.SweepSpec, grid bool) {
	switch {
	case s.GetMethod() == bowrollv1.SweepMethod_SWEEP_METHOD_UNSPECIFIED:
		return
	case !grid && s.RowCount == nil:
		f.add(prefix+".row_count", "", "required", "1 to "+strconv.Itoa(MostRows), "a sample says how many rows it has")
		return
	case !grid:
		return
	}
	if s.RowCount != nil {
		f.add(prefix+".row_count", strconv.Itoa(int(s.GetRowCount())), "goes-with", "a sample", "a grid has as many rows as its axes make")
	}
	if s.Seed != nil {
		f.add(prefix+".seed", strconv.Itoa(int(s.GetSeed())), "goes-with", "a sample", "a grid draws nothing")
	}
	rows := 1.0
	for _, a := range s.GetAxes() {
		rows *= float64(max(1, len(a.GetValues()), len(a.GetWords()), int(a.GetRange().GetCount())))
	}
	if rows > MostRows {
		f.add(prefix+".axes", strconv.FormatFloat(rows, 'f', 0, 64)+" rows", "rows", "at most "+strconv.Itoa(MostRows)+" rows", "take fewer values, split the sweep, or take a sample")
	}
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// outputOnly tells whether only answers carry a field.
func outputOnly(fd protoreflect.FieldDescriptor) bool {
	behavior, _ := proto.GetExtension(fd.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return slices.Contains(behavior, annotations.FieldBehavior_OUTPUT_ONLY)
}
