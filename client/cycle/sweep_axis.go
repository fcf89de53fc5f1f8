package cycle

import (
	"fmt"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

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
