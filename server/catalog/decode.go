package catalog

import (
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf/violation"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/nearest"
)

// place is where something stands in a file.
type place struct{ line, column int }

// A decoder turns the nodes of one file into messages, and remembers where each
// field stood and which fields it could not read.
type decoder struct {
	file   string
	faults Faults
	places map[string]place
	// broken holds the paths that have a fault already, so that no rule speaks
	// of them a second time, and around holds the paths around those.
	broken, around map[string]bool
	// meant holds the paths that a misspelt key probably stands for: they are
	// not missing as well.
	meant map[string]bool
}

func newDecoder(file string) *decoder {
	return &decoder{file: file, places: map[string]place{}, broken: map[string]bool{}, around: map[string]bool{}, meant: map[string]bool{}}
}

// fault records that the value at path, standing at a place, is wrong.
func (d *decoder) fault(at place, v *bowrollv1.Violation) {
	d.breaks(v.GetField())
	d.faults = append(d.faults, Fault{File: d.file, Line: at.line, Column: at.column, Violation: v})
}

// breaks marks a path as having a fault.
func (d *decoder) breaks(path string) {
	d.broken[path] = true
	for outer, ok := outside(path); ok && !d.around[outer]; outer, ok = outside(outer) {
		d.around[outer] = true
	}
}

// isBroken tells whether path, or anything inside or around it, has a fault.
func (d *decoder) isBroken(path string) bool {
	if d.around[path] {
		return true
	}
	for ok := true; ok; path, ok = outside(path) {
		if d.broken[path] {
			return true
		}
	}
	return false
}

// placeOf is where a path stands, or the nearest thing around it that does.
func (d *decoder) placeOf(path string) place {
	for ok := true; ok; path, ok = outside(path) {
		if at, found := d.places[path]; found {
			return at
		}
	}
	return place{1, 1}
}

// outside is the path that a path lies directly in.
func outside(path string) (string, bool) {
	cut := strings.LastIndexAny(path, ".[")
	if cut < 0 {
		return "", false
	}
	return path[:cut], true
}

func placeOf(n *yaml.Node) place { return place{n.Line, n.Column} }

// plain refuses what a data file has no use for, and reports whether the node
// may be read.
func (d *decoder) plain(n *yaml.Node, path string) bool {
	switch {
	case n.Kind == yaml.AliasNode:
		d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: "an alias", Rule: "alias", Hint: "write the value out"})
	case n.Anchor != "":
		d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: "an anchor", Rule: "alias", Hint: "write the value without &" + shorten(n.Anchor)})
	case n.Style&yaml.TaggedStyle != 0:
		d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: "tagged " + shorten(n.Tag), Rule: "tag", Hint: "leave the tag out"})
	default:
		return true
	}
	return false
}

// pairs calls each with the keys and values of a mapping, having refused keys
// that are no plain text and keys that stand twice.
func (d *decoder) pairs(n *yaml.Node, path string, each func(key, value *yaml.Node, path string)) {
	seen := map[string]place{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if key.Kind != yaml.ScalarNode || !d.plain(key, path) {
			if key.Kind != yaml.ScalarNode {
				d.fault(placeOf(key), &bowrollv1.Violation{Field: path, Value: "keyed by " + kindName(key), Rule: "key", Allowed: "keyed by field names"})
			}
			continue
		}
		inner := violation.Shown(key.Value)
		if path != "" {
			inner = path + "." + inner
		}
		if first, twice := seen[key.Value]; twice {
			d.fault(placeOf(key), &bowrollv1.Violation{
				Field: shorten(inner), Value: "given twice", Rule: "duplicate",
				Hint: "keep this one or the one on line " + strconv.Itoa(first.line),
			})
			continue
		}
		seen[key.Value] = placeOf(key)
		each(key, value, inner)
	}
}

// unknownKey records a key that nothing reads.
func (d *decoder) unknownKey(key *yaml.Node, path string, valid []string) {
	v := &bowrollv1.Violation{Field: shorten(path), Value: "unknown", Rule: "unknown-key", Hint: "valid keys are " + strings.Join(valid, ", ")}
	if near, ok := nearest.Of(key.Value, valid); ok {
		v.Hint = "did you mean " + near + "?"
		d.meant[strings.TrimSuffix(path, violation.Shown(key.Value))+near] = true
	}
	d.fault(placeOf(key), v)
}

// message reads a mapping into m.
func (d *decoder) message(n *yaml.Node, path string, m protoreflect.Message) {
	if !d.plain(n, path) {
		return
	}
	if n.Kind != yaml.MappingNode {
		d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: kindName(n), Rule: "type", Allowed: "keys with values"})
		return
	}
	d.places[path] = placeOf(n)
	fields := m.Descriptor().Fields()
	d.pairs(n, path, func(key, value *yaml.Node, inner string) {
		fd := fields.ByName(protoreflect.Name(key.Value))
		if fd == nil {
			d.unknownKey(key, inner, inputKeys(m.Descriptor()))
			return
		}
		if isOutputOnly(fd) {
			d.fault(placeOf(key), &bowrollv1.Violation{Field: inner, Value: "given", Rule: "output-only", Hint: "leave it out: the server writes it"})
			return
		}
		d.places[inner] = placeOf(value)
		d.field(value, inner, m, fd)
	})
}

// field reads a value into one field of m.
func (d *decoder) field(n *yaml.Node, path string, m protoreflect.Message, fd protoreflect.FieldDescriptor) {
	if !d.plain(n, path) {
		return
	}
	if n.Kind == yaml.ScalarNode && n.ShortTag() == "!!null" {
		d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: "empty", Rule: "type", Hint: "give a value, or leave the key out"})
		return
	}
	if !fd.IsList() {
		if fd.Message() != nil {
			d.message(n, path, m.Mutable(fd).Message())
		} else if v, ok := d.scalar(n, path, fd); ok {
			m.Set(fd, v)
		}
		return
	}
	if n.Kind != yaml.SequenceNode {
		d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: kindName(n), Rule: "type", Allowed: "a list"})
		return
	}
	list := m.Mutable(fd).List()
	for i, item := range n.Content {
		inner := path + "[" + strconv.Itoa(i) + "]"
		d.places[inner] = placeOf(item)
		// An item that cannot be read keeps its place, so that the items after
		// it keep theirs.
		element := list.NewElement()
		if fd.Message() != nil {
			d.message(item, inner, element.Message())
		} else if d.plain(item, inner) {
			if v, ok := d.scalar(item, inner, fd); ok {
				element = v
			}
		}
		list.Append(element)
	}
}

// inputKeys are the keys of a message that a file may give, in the order of the
// contract.
func inputKeys(md protoreflect.MessageDescriptor) []string {
	var keys []string
	for i := range md.Fields().Len() {
		if fd := md.Fields().Get(i); !isOutputOnly(fd) {
			keys = append(keys, string(fd.Name()))
		}
	}
	return keys
}

func isOutputOnly(fd protoreflect.FieldDescriptor) bool {
	behaviours, _ := proto.GetExtension(fd.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	for _, b := range behaviours {
		if b == annotations.FieldBehavior_OUTPUT_ONLY {
			return true
		}
	}
	return false
}
