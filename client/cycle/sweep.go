package cycle

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

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
		r.faults = append(r.faults, Fault{Place: r.document.place(node), Path: join(path, key), Problem: missing, Hint: hint})
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
