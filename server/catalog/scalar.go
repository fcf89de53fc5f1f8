package catalog

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/nearest"
	"bowroll/server/refusal"
)

// number is how a number may be written: decimal, without the octal, binary
// and sexagesimal forms of YAML, where 010 is 8.
var number = regexp.MustCompile(`^[-+]?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?$`)

// scalar reads one value of a field that is no message.
func (d *decoder) scalar(n *yaml.Node, path string, fd protoreflect.FieldDescriptor) (protoreflect.Value, bool) {
	if n.Kind != yaml.ScalarNode {
		d.wrongType(n, path, kindName(n), wanted(fd), "")
		return protoreflect.Value{}, false
	}
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return d.double(n, path)
	case protoreflect.Int32Kind:
		return d.int32(n, path)
	case protoreflect.StringKind:
		return d.text(n, path)
	case protoreflect.EnumKind:
		return d.enum(n, path, fd.Enum())
	case protoreflect.BoolKind:
		if n.Value == "true" || n.Value == "false" {
			return protoreflect.ValueOfBool(n.Value == "true"), true
		}
		d.wrongType(n, path, quoted(n), wanted(fd), "")
		return protoreflect.Value{}, false
	default:
		d.wrongType(n, path, quoted(n), "left out", "no catalog file can give it")
		return protoreflect.Value{}, false
	}
}

func (d *decoder) double(n *yaml.Node, path string) (protoreflect.Value, bool) {
	if !d.isNumber(n, path, "a number") {
		return protoreflect.Value{}, false
	}
	f, err := strconv.ParseFloat(n.Value, 64)
	if err != nil || math.IsInf(f, 0) || math.IsNaN(f) {
		d.wrongType(n, path, quoted(n), "a finite number", "")
		return protoreflect.Value{}, false
	}
	if f == 0 {
		f = 0 // negative zero is zero
	}
	return protoreflect.ValueOfFloat64(f), true
}

func (d *decoder) int32(n *yaml.Node, path string) (protoreflect.Value, bool) {
	if !d.isNumber(n, path, "a whole number") {
		return protoreflect.Value{}, false
	}
	i, err := strconv.ParseInt(n.Value, 10, 32)
	if err != nil {
		d.wrongType(n, path, quoted(n), "a whole number from -2147483648 to 2147483647", "")
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfInt32(int32(i)), true
}

// isNumber reports whether the node is a bare number, and says what to do where
// it is not.
func (d *decoder) isNumber(n *yaml.Node, path, want string) bool {
	bare := n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) == 0
	if number.MatchString(n.Value) {
		if bare {
			return true
		}
		d.wrongType(n, path, "the text "+quoted(n), want, "write it without quotes")
		return false
	}
	hint := ""
	switch lead := strings.TrimLeft(n.Value, "+-."); {
	case strings.HasPrefix(lead, "0") && n.ShortTag() == "!!int":
		hint = "write it in decimal without leading zeros"
	case lead != "" && lead[0] >= '0' && lead[0] <= '9':
		hint = "write the bare number in the unit that the key names"
	}
	d.wrongType(n, path, quoted(n), want, hint)
	return false
}

func (d *decoder) text(n *yaml.Node, path string) (protoreflect.Value, bool) {
	if n.ShortTag() != "!!str" {
		d.wrongType(n, path, quoted(n)+" without quotes", "text", "put it in quotes")
		return protoreflect.Value{}, false
	}
	if fault := refusal.Text(path, n.Value); fault != nil {
		fault.Value = quoted(n)
		d.fault(placeOf(n), fault)
		return protoreflect.Value{}, false
	}
	return protoreflect.ValueOfString(n.Value), true
}

func (d *decoder) enum(n *yaml.Node, path string, ed protoreflect.EnumDescriptor) (protoreflect.Value, bool) {
	var valid []string
	for i := range ed.Values().Len() {
		v := ed.Values().Get(i)
		if v.Number() == 0 {
			continue // a state that nothing has
		}
		if string(v.Name()) == n.Value {
			return protoreflect.ValueOfEnum(v.Number()), true
		}
		valid = append(valid, string(v.Name()))
	}
	v := &bowrollv1.Violation{Field: path, Value: quoted(n), Rule: "enum", Allowed: "one of " + strings.Join(valid, ", ")}
	if near, ok := nearest.Of(n.Value, valid); ok {
		v.Hint = "did you mean " + near + "?"
	}
	d.fault(placeOf(n), v)
	return protoreflect.Value{}, false
}

func (d *decoder) wrongType(n *yaml.Node, path, value, allowed, hint string) {
	d.fault(placeOf(n), &bowrollv1.Violation{Field: path, Value: value, Rule: "type", Allowed: allowed, Hint: hint})
}

// wanted is what a field wants, in words.
func wanted(fd protoreflect.FieldDescriptor) string {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return "a number"
	case protoreflect.Int32Kind:
		return "a whole number"
	case protoreflect.BoolKind:
		return "true or false"
	default:
		return "text"
	}
}

// kindName is what a node is, in words.
func kindName(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "keys with values"
	case yaml.SequenceNode:
		return "a list"
	case yaml.AliasNode:
		return "an alias"
	default:
		return quoted(n)
	}
}

// quoted is a scalar as a fault shows it: on one line, in ASCII, of bounded
// length.
func quoted(n *yaml.Node) string {
	return strconv.QuoteToASCII(shorten(n.Value))
}

// shorten cuts a text that would make a line unreadable.
func shorten(s string) string {
	const most = 80
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "..."
}
