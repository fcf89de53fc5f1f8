package cycle

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A Sweep is a sweep as a file writes it.
type Sweep struct {
	ID          string // id that the file proposes; empty where it proposes none
	DisplayName string // name for people
	Spec        *bowrollv1.SweepSpec
}

// Keys of a sweep's file, and of an axis in it.
var (
	sweepKeys = []string{"id", "display_name", "case", "axes", "method", "rows", "seed", "columns"}
	axisKeys  = []string{"field", "values", "from", "to", "count", "distribution", "least", "greatest", "middle", "sigma"}
)

// ReadSweep reads a sweep. Its case is written as a case file is; what an axis
// sets need not stand in it. An axis names the keys that lead to its field,
// air.temperature, and its values carry units as they would there. The index
// leads from fields of the spec. The error is a [Faults] where the file is at
// fault.
func ReadSweep(name string, source []byte) (*Sweep, *Index, error) {
	document, err := Parse(name, source)
	if err != nil {
		return nil, nil, err
	}
	r := &reader{document: document, index: newIndex()}
	sweep := r.sweep(document.root)
	if len(r.faults) > 0 {
		return nil, nil, r.faults.sorted()
	}
	return sweep, r.index, nil
}

// entries reads a mapping whose keys are none of a message's. The values come by
// their keys.
func (r *reader) entries(node *yaml.Node, path string, known []string) (map[string]*yaml.Node, bool) {
	if !r.usable(node, path) {
		return nil, false
	}
	if node.Kind != yaml.MappingNode {
		r.fault(node, path, "must hold keys", "", "write one key: value to a line below it")
		return nil, false
	}
	found, seen := map[string]*yaml.Node{}, map[string]*yaml.Node{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		name, value := node.Content[i], node.Content[i+1]
		at := &yaml.Node{Kind: yaml.MappingNode, Line: name.Line, Column: name.Column}
		if name.Kind != yaml.ScalarNode || name.ShortTag() == "!!merge" || name.Anchor != "" {
			r.fault(name, path, "is no plain key", "", "write the key out")
			continue
		}
		if first, twice := seen[name.Value]; twice {
			r.fault(at, join(path, name.Value), "is written twice", "", "first at "+r.document.place(first).String())
			continue
		}
		seen[name.Value] = name
		if slices.Contains(known, name.Value) {
			found[name.Value] = value
		} else {
			hint := "the keys here are " + strings.Join(known, ", ")
			if near, ok := Nearest(name.Value, known); ok {
				hint = "did you mean " + near + "?"
				if found[near] == nil {
					found[near] = value // read as what was meant, so that its own faults are told too
				}
			}
			r.fault(at, join(path, name.Value), "is no key here", "", hint)
		}
	}
	return found, true
}

// need notes that a key is missing.
func (r *reader) need(node *yaml.Node, found map[string]*yaml.Node, path, key, hint string) {
	if _, written := found[key]; !written {
		r.faults = append(r.faults, Fault{Place: r.document.place(node), Path: join(path, key), Problem: "is missing", Hint: hint})
	}
}

// sweep reads the whole file.
func (r *reader) sweep(root *yaml.Node) *Sweep {
	out := &Sweep{Spec: &bowrollv1.SweepSpec{}}
	r.index.add("", "", root.Value, r.document.place(root))
	found, ok := r.entries(root, "", sweepKeys)
	if !ok {
		return out
	}
	r.need(root, found, "", "case", "write the take-off that every row begins with, as in a case file")
	r.need(root, found, "", "axes", "write what varies: a list of fields with their values")
	r.need(root, found, "", "method", "one of grid, latin-hypercube, random")
	spec := out.Spec.ProtoReflect()
	fields := map[string]key{}
	for _, k := range keysOf(spec.Descriptor()) {
		fields[k.name] = k
	}
	if node := found["id"]; node != nil {
		out.ID = r.plainText(node, "id")
	}
	if node := found["display_name"]; node != nil {
		out.DisplayName = r.plainText(node, "display_name")
	}
	// The axes come first, because the case may lack what they set.
	if node := found["axes"]; node != nil {
		r.axes(node, out.Spec)
	}
	if node := found["case"]; node != nil {
		k := fields["case"]
		r.message(node, "case", "case", spec.Mutable(k.field).Message())
	}
	for _, written := range []struct{ name, field string }{{"method", "method"}, {"rows", "row_count"}, {"seed", "seed"}, {"columns", "columns"}} {
		if node := found[written.name]; node != nil {
			k := fields[written.field]
			k.name = written.name
			r.value(node, &k, written.name, written.field, spec)
		}
	}
	return out
}

// plainText reads a text that is no field of the spec.
func (r *reader) plainText(node *yaml.Node, path string) string {
	r.index.add(path, path, node.Value, r.document.place(node))
	if !r.usable(node, path) {
		return ""
	}
	if node.Kind != yaml.ScalarNode {
		r.fault(node, path, "must be one value", "", "")
		return ""
	}
	if v, ok := r.text(node, &key{name: path}, path); ok {
		return v.String()
	}
	return ""
}

// axes reads the list of what varies.
func (r *reader) axes(node *yaml.Node, spec *bowrollv1.SweepSpec) {
	r.index.add("axes", "axes", "", r.document.place(node))
	if !r.usable(node, "axes") {
		return
	}
	if node.Kind != yaml.SequenceNode {
		r.fault(node, "axes", "must be a list", "", "write each axis after a dash: - {field: headwind, from: 0 kt, to: 30 kt, count: 16}")
		return
	}
	known := caseFields()
	for i, item := range node.Content {
		a := &bowrollv1.SweepAxis{}
		spec.Axes = append(spec.Axes, a)
		r.axis(item, fmt.Sprintf("axes[%d]", i), a, known)
	}
}

// axis reads one axis. It stands at the same path in the file and in the spec.
func (r *reader) axis(node *yaml.Node, at string, a *bowrollv1.SweepAxis, known []caseField) {
	r.index.add(at, at, "", r.document.place(node))
	found, ok := r.entries(node, at, axisKeys)
	if !ok {
		return
	}
	r.need(node, found, at, "field", "write what varies, by its keys in the case, e.g. field: air.temperature")
	field := r.axisField(found["field"], at+".field", known)
	if field == nil {
		return
	}
	a.Field = field.wire
	r.supply(field.path)
	_, drawn := found["distribution"]
	_, ranged := found["count"]
	_, listed := found["values"]
	switch {
	case drawn:
		r.apart(found, at, "a distribution", "values", "from", "to", "count")
		r.distribution(node, found, at, a, field)
	case listed:
		r.apart(found, at, "values", "from", "to", "count", "least", "greatest", "middle", "sigma")
		r.values(found["values"], at, a, field)
	case ranged || found["from"] != nil || found["to"] != nil:
		r.apart(found, at, "from, to and count", "least", "greatest", "middle", "sigma")
		r.between(node, found, at, a, field)
	default:
		r.fault(node, at, "does not say how it varies", "values; or from, to and count; or a distribution with least and greatest", "")
	}
}

// apart refuses keys that do not go with how the axis varies.
func (r *reader) apart(found map[string]*yaml.Node, at, with string, others ...string) {
	for _, other := range others {
		if node := found[other]; node != nil {
			r.fault(node, at+"."+other, "does not go with "+with, "", "write one of the two")
		}
	}
}

// supply notes that an axis sets a field of the case, and with it what holds it.
func (r *reader) supply(path string) {
	if r.supplied == nil {
		r.supplied = map[string]bool{}
	}
	for at := "case." + path; at != "case"; at = at[:strings.LastIndexByte(at, '.')] {
		r.supplied[at] = true
	}
}

// axisNumber reads a number of the field's kind.
func (r *reader) axisNumber(node *yaml.Node, path, wire string, field *caseField) *float64 {
	r.index.add(wire, path, node.Value, r.document.place(node))
	v, ok := r.scalar(node, &field.key, path)
	if !ok {
		return nil
	}
	if field.key.field.Kind() == protoreflect.Int32Kind {
		return proto.Float64(float64(v.Int()))
	}
	return proto.Float64(v.Float())
}

// values reads a list of numbers, names or words.
func (r *reader) values(node *yaml.Node, at string, a *bowrollv1.SweepAxis, field *caseField) {
	path := at + ".values"
	r.index.add(at+".values", path, "", r.document.place(node))
	r.index.add(at+".words", path, "", r.document.place(node))
	if !r.usable(node, path) {
		return
	}
	if node.Kind != yaml.SequenceNode || len(node.Content) == 0 {
		r.fault(node, path, "must be a list", "", "e.g. ["+field.example()+"]")
		return
	}
	for i, item := range node.Content {
		one := path + "[" + strconv.Itoa(i) + "]"
		if !field.worded() {
			if v := r.axisNumber(item, one, one, field); v != nil {
				a.Values = append(a.Values, *v)
			}
			continue
		}
		r.index.add(at+".words["+strconv.Itoa(i)+"]", one, item.Value, r.document.place(item))
		if v, ok := r.scalar(item, &field.key, one); ok {
			word := v.String()
			if enum := field.key.field.Enum(); enum != nil {
				word = string(enum.Values().ByNumber(v.Enum()).Name())
			}
			a.Words = append(a.Words, word)
		}
	}
}

// between reads evenly spaced values.
func (r *reader) between(node *yaml.Node, found map[string]*yaml.Node, at string, a *bowrollv1.SweepAxis, field *caseField) {
	if r.noWords(node, at, field) {
		return
	}
	hint := "evenly spaced values need from, to and count, both ends included"
	for _, k := range []string{"from", "to", "count"} {
		r.need(node, found, at, k, hint)
	}
	a.Range = &bowrollv1.SweepRange{}
	r.index.add(at+".range", at, "", r.document.place(node))
	if n := found["from"]; n != nil {
		a.Range.FirstValue = r.axisNumber(n, at+".from", at+".range.first_value", field)
	}
	if n := found["to"]; n != nil {
		a.Range.LastValue = r.axisNumber(n, at+".to", at+".range.last_value", field)
	}
	if n := found["count"]; n != nil {
		count := a.Range.ProtoReflect()
		fd := count.Descriptor().Fields().ByName("count")
		r.value(n, &key{name: "count", field: fd}, at+".count", at+".range.count", count)
	}
}

// noWords refuses numbers for what holds a name.
func (r *reader) noWords(node *yaml.Node, at string, field *caseField) bool {
	if field.worded() {
		r.fault(node, at, "holds a name, which has no range", "values", "e.g. values: ["+field.example()+"]")
	}
	return field.worded()
}

// distribution reads values to be drawn.
func (r *reader) distribution(node *yaml.Node, found map[string]*yaml.Node, at string, a *bowrollv1.SweepAxis, field *caseField) {
	if r.noWords(node, at, field) {
		return
	}
	if field.key.field.Kind() == protoreflect.Int32Kind {
		r.fault(node, at, "counts, and is not drawn", "values, or from, to and count", "")
		return
	}
	for _, k := range []string{"least", "greatest"} {
		r.need(node, found, at, k, "what is drawn lies between the two")
	}
	a.Distribution = &bowrollv1.SweepDistribution{}
	d, wire := a.Distribution.ProtoReflect(), at+".distribution"
	r.index.add(wire, at, "", r.document.place(node))
	if n := found["distribution"]; n != nil {
		r.value(n, &key{name: "distribution", field: d.Descriptor().Fields().ByName("shape")}, at+".distribution", wire+".shape", d)
	}
	for _, one := range []struct {
		name, wire string
		into       **float64
	}{
		{"least", "least_value", &a.Distribution.LeastValue},
		{"greatest", "greatest_value", &a.Distribution.GreatestValue},
		{"middle", "middle_value", &a.Distribution.MiddleValue},
	} {
		if n := found[one.name]; n != nil {
			*one.into = r.axisNumber(n, at+"."+one.name, wire+"."+one.wire, field)
		}
	}
	if n := found["sigma"]; n != nil {
		spread := key{name: "sigma", field: d.Descriptor().Fields().ByName("sigma"), unit: field.key.unit.difference()}
		r.value(n, &spread, at+".sigma", wire+".sigma", d)
	}
}
