package cycle

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/perf/quantity"
	"bowroll/perf/violation"
)

// A reader walks a document along a message's descriptor.
type reader struct {
	document *Document
	index    *Index
	faults   Faults
	supplied map[string]bool // paths that may be missing, because something else sets them
}

func (r *reader) fault(node *yaml.Node, path, problem, allowed, hint string) {
	f := Fault{Place: r.document.place(node), Path: violation.Shown(path), Problem: problem, Allowed: allowed, Hint: hint}
	if node.Kind == yaml.ScalarNode {
		f.Value = node.Value
	}
	r.faults = append(r.faults, f)
}

// message reads a mapping into a message. path is where it stands in the file,
// field where it stands in the message.
func (r *reader) message(node *yaml.Node, path, field string, into protoreflect.Message) {
	r.index.add(field, path, node.Value, r.document.place(node))
	if !r.usable(node, path) {
		return
	}
	if node.Kind != yaml.MappingNode {
		r.fault(node, path, "must hold keys", "", "write one key: value to a line below it")
		return
	}
	keys := keysOf(into.Descriptor())
	written := map[string]*yaml.Node{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		name, value := node.Content[i], node.Content[i+1]
		if first, twice := written[name.Value]; twice {
			r.fault(name, join(path, name.Value), "is written twice", "", "first at "+r.document.place(first).String())
			continue
		}
		written[name.Value] = name
		k, meant := r.find(name, path, keys)
		if k != nil {
			r.value(value, k, join(path, k.name), join(field, string(k.field.Name())), into)
		} else if meant != "" && written[meant] == nil {
			// The hint says it already; it need not be called missing too.
			written[meant] = name
		}
	}
	for _, k := range keys {
		if k.required && written[k.name] == nil && !r.supplied[join(path, k.name)] {
			r.faults = append(r.faults, Fault{Place: r.document.place(node), Path: join(path, k.name), Problem: missing, Hint: k.missing()})
		}
	}
}

// find looks a key up, and says what was meant where there is none such.
func (r *reader) find(name *yaml.Node, path string, keys []key) (found *key, meant string) {
	if name.Kind != yaml.ScalarNode || name.ShortTag() == "!!merge" || name.Anchor != "" {
		r.fault(name, path, "is no plain key", "", "write the key out")
		return nil, ""
	}
	for i := range keys {
		if keys[i].name == name.Value {
			return &keys[i], ""
		}
	}
	hint := "the keys here are " + strings.Join(names(keys), ", ")
	if near, ok := Nearest(name.Value, names(keys)); ok {
		hint, meant = "did you mean "+near+"?", near
	}
	for _, k := range keys {
		if name.Value == string(k.field.Name()) {
			meant = k.name
			hint = "write " + k.name + ", with the unit in the value: " + k.name + ": " + k.unit.example
		}
	}
	r.fault(&yaml.Node{Kind: yaml.MappingNode, Line: name.Line, Column: name.Column}, join(path, name.Value), "is no key here", "", hint)
	if flag, ok := r.document.flag[name]; ok {
		r.faults[len(r.faults)-1].Place = Place{File: r.document.name, Flag: flag}
	}
	return nil, meant
}

// usable refuses what no value may be: blank, an anchor or a reference to one.
func (r *reader) usable(node *yaml.Node, path string) bool {
	switch {
	case node.Kind == yaml.AliasNode || node.Anchor != "":
		r.fault(node, path, "anchors and references are not read", "", "write the value out where it stands")
	case node.Kind == yaml.ScalarNode && (node.ShortTag() == "!!null" || strings.TrimSpace(node.Value) == ""):
		r.fault(node, path, "is blank", "", "blank never means zero: write the value, or leave the key out")
	default:
		return true
	}
	return false
}

// value reads the value of a key into a field of a message.
func (r *reader) value(node *yaml.Node, k *key, path, field string, into protoreflect.Message) {
	if !k.field.IsList() {
		if k.field.Message() != nil && !isInstant(k.field) {
			r.message(node, path, field, into.Mutable(k.field).Message())
			return
		}
		r.index.add(field, path, node.Value, r.document.place(node))
		if v, ok := r.scalar(node, k, path); ok {
			into.Set(k.field, v)
		}
		return
	}
	r.index.add(field, path, node.Value, r.document.place(node))
	if !r.usable(node, path) {
		return
	}
	if node.Kind != yaml.SequenceNode {
		r.fault(node, path, "must be a list", "", "write each item on a line of its own after a dash, or [a, b]")
		return
	}
	list := into.Mutable(k.field).List()
	for i, item := range node.Content {
		at := fmt.Sprintf("[%d]", i)
		if k.field.Message() != nil {
			r.message(item, path+at, field+at, list.AppendMutable().Message())
			continue
		}
		r.index.add(field+at, path+at, item.Value, r.document.place(item))
		if v, ok := r.scalar(item, k, path+at); ok {
			list.Append(v)
		}
	}
}

func isInstant(field protoreflect.FieldDescriptor) bool {
	return field.Message() != nil && field.Message().FullName() == "google.protobuf.Timestamp"
}

// scalar reads one value that holds no keys.
func (r *reader) scalar(node *yaml.Node, k *key, path string) (v protoreflect.Value, ok bool) {
	if !r.usable(node, path) {
		return v, false
	}
	if node.Kind != yaml.ScalarNode {
		r.fault(node, path, "must be one value", "", "")
		return v, false
	}
	switch k.field.Kind() {
	case protoreflect.StringKind:
		return r.text(node, k, path)
	case protoreflect.BoolKind:
		if node.Value != "true" && node.Value != "false" || node.ShortTag() != "!!bool" {
			r.fault(node, path, "is neither", "true or false", "")
			return v, false
		}
		return protoreflect.ValueOfBool(node.Value == "true"), true
	case protoreflect.Int32Kind:
		return r.count(node, k, path)
	case protoreflect.DoubleKind:
		return r.number(node, k, path)
	case protoreflect.EnumKind:
		list, byWord := words(k.field.Enum())
		if number, known := byWord[node.Value]; known {
			return protoreflect.ValueOfEnum(number), true
		}
		hint := ""
		if near, found := Nearest(node.Value, list); found {
			hint = "did you mean " + near + "?"
		}
		r.fault(node, path, "is not known", strings.Join(list, ", "), hint)
		return v, false
	}
	return r.instant(node, path)
}

// text reads a name or a sentence. A number is none: ids never look numeric.
func (r *reader) text(node *yaml.Node, k *key, path string) (v protoreflect.Value, ok bool) {
	if node.ShortTag() != "!!str" {
		r.fault(node, path, "must be text", "", `put it in quotes: "`+node.Value+`"`)
		return v, false
	}
	text := node.Value
	if k.prefix != "" && !strings.Contains(text, "/") {
		text = k.prefix + text
	}
	return protoreflect.ValueOfString(text), true
}

// count reads a whole number.
func (r *reader) count(node *yaml.Node, k *key, path string) (v protoreflect.Value, ok bool) {
	n, err := strconv.ParseInt(node.Value, 10, 32)
	if err != nil || node.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0 {
		r.fault(node, path, "must be a whole number", rangeText(k, node.Value), "")
		return v, false
	}
	if least, greatest, bounded := bounds(k.field); bounded && (float64(n) < least || float64(n) > greatest) {
		r.fault(node, path, "is out of range", rangeText(k, node.Value), "")
		return v, false
	}
	return protoreflect.ValueOfInt32(int32(n)), true
}

// number reads a number with its unit, or a ratio.
func (r *reader) number(node *yaml.Node, k *key, path string) (v protoreflect.Value, ok bool) {
	if _, bare := strconv.ParseFloat(strings.ReplaceAll(node.Value, ",", ""), 64); bare == nil && k.unit.suffix != "" {
		r.fault(node, path, "has no unit", "", "write the unit, e.g. "+k.name+": "+k.unit.example)
		return v, false
	}
	x, err := quantity.Parse(k.unit.dimension, node.Value)
	if err != nil {
		problem, allowed, hint := err.Error(), "", ""
		if refused := (violation.Violation{}); errors.As(err, &refused) {
			problem, allowed, hint = "is not read as a "+k.unit.dimension.String(), refused.Allowed, refused.Hint
		}
		r.fault(node, path, problem, allowed, hint)
		return v, false
	}
	if least, greatest, bounded := bounds(k.field); bounded && (x < least || x > greatest) {
		r.fault(node, path, "is out of range", rangeText(k, node.Value), slipHint(k.unit.dimension, node.Value, x, least, greatest))
		return v, false
	}
	return protoreflect.ValueOfFloat64(x), true
}

// instantExample is an instant as a file writes it.
const instantExample = "2041-03-07T05:30:00Z"

// instant reads an RFC 3339 instant with its offset.
func (r *reader) instant(node *yaml.Node, path string) (v protoreflect.Value, ok bool) {
	at, err := time.Parse(time.RFC3339Nano, node.Value)
	if err != nil {
		r.fault(node, path, "is not an instant with an offset", "RFC 3339", "e.g. "+instantExample)
		return v, false
	}
	stamp := timestamppb.New(at)
	if stamp.CheckValid() != nil {
		r.fault(node, path, "is out of range", "the years 1 to 9999", "")
		return v, false
	}
	return protoreflect.ValueOfMessage(stamp.ProtoReflect()), true
}
