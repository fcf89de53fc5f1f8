package cycle

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A caseField is one value of a take-off case that an axis may set.
type caseField struct {
	path string // keys that lead to it in a file, e.g. air.temperature
	wire string // fields that lead to it in the message, e.g. air.temperature_c
	key  key
}

// worded reports whether the field holds a name or an enumeration.
func (f *caseField) worded() bool {
	kind := f.key.field.Kind()
	return kind == protoreflect.StringKind || kind == protoreflect.EnumKind
}

// example is a value as a file writes it.
func (f *caseField) example() string {
	switch {
	case f.key.field.Enum() != nil:
		list, _ := words(f.key.field.Enum())
		return strings.Join(list, ", ")
	case f.key.unit.example != "":
		return f.key.unit.example
	case f.worded():
		return "s5, s6"
	}
	return "1, 2"
}

// caseFields are all of them, in the order of the contract. What is in a list has
// no path of its own.
func caseFields() []caseField {
	var found []caseField
	var walk func(m protoreflect.MessageDescriptor, path, wire string, above []protoreflect.FullName)
	walk = func(m protoreflect.MessageDescriptor, path, wire string, above []protoreflect.FullName) {
		if slices.Contains(above, m.FullName()) {
			return
		}
		above = append(slices.Clone(above), m.FullName())
		for _, k := range keysOf(m) {
			at, on := join(path, k.name), join(wire, string(k.field.Name()))
			switch kind := k.field.Kind(); {
			case k.field.IsList() || k.field.IsMap() || isInstant(k.field) || kind == protoreflect.BoolKind || on == "id":
			case k.field.Message() != nil:
				walk(k.field.Message(), at, on, above)
			default:
				found = append(found, caseField{at, on, k})
			}
		}
	}
	walk((&bowrollv1.TakeoffCase{}).ProtoReflect().Descriptor(), "", "", nil)
	return found
}

// axisField reads which field an axis sets, and says what was meant where there is
// none such; nil where nothing is near.
func (r *reader) axisField(node *yaml.Node, path string, known []caseField) *caseField {
	if node == nil {
		return nil
	}
	r.index.add(path, path, node.Value, r.document.place(node))
	if !r.usable(node, path) {
		return nil
	}
	if node.Kind != yaml.ScalarNode {
		r.fault(node, path, "must be one value", "", "")
		return nil
	}
	paths, hint := make([]string, len(known)), "write its keys in a case file with dots between, e.g. headwind, air.temperature, boosters.count"
	for i := range known {
		if known[i].path == node.Value {
			return &known[i]
		}
		paths[i] = known[i].path
	}
	var meant *caseField
	near, _ := Nearest(node.Value, paths)
	for i := range known {
		switch {
		case known[i].wire == node.Value:
			meant, hint = &known[i], "write "+known[i].path+", with the unit in its values"
		case meant == nil && (known[i].path == near || lastKey(known[i].path, node.Value)):
			meant, hint = &known[i], "did you mean "+known[i].path+"?"
		}
	}
	r.fault(node, path, "is nothing that a case holds", "", hint)
	return meant
}

// lastKey reports whether a word is the last of the two keys of a path.
func lastKey(path, word string) bool {
	return strings.HasSuffix(path, "."+word) && strings.Count(path, ".") == 1
}

// difference is the unit of how far values lie apart.
func (u unit) difference() unit {
	if u.dimension == quantity.Temperature {
		u.dimension, u.example = quantity.TemperatureDifference, "5 K"
	}
	return u
}
