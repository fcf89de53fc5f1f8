package strictjson

import (
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/nearest"
)

// step is one step of a path: a field or map key, or, with an empty name, an
// index. Text is made of it only where a fault is found.
type step struct {
	name  string
	index int
}

func (d *decoder) push(name string) { d.path = append(d.path, step{name: name}) }
func (d *decoder) pushIndex(i int)  { d.path = append(d.path, step{index: i}) }
func (d *decoder) pop()             { d.path = d.path[:len(d.path)-1] }
func (d *decoder) pushKey(key string) {
	d.path = append(d.path, step{name: "[" + strconv.Quote(shorten(key)) + "]"})
}

func (d *decoder) where() string {
	var b strings.Builder
	for i, s := range d.path {
		switch {
		case s.name == "":
			b.WriteString("[" + strconv.Itoa(s.index) + "]")
		case i == 0 || s.name[0] == '[':
			b.WriteString(s.name)
		default:
			b.WriteString("." + s.name)
		}
	}
	return b.String()
}

func (d *decoder) fault(rule, value, allowed, hint string) {
	d.faults = append(d.faults, &bowrollv1.Violation{
		Field: d.where(), Value: shorten(value), Rule: rule, Allowed: allowed, Hint: hint,
	})
}

// wrongType steps over a value of the wrong type.
func (d *decoder) wrongType(allowed string) {
	first := d.text[d.at]
	value := d.raw()
	hint := ""
	if first == '"' && strings.Contains(allowed, "number") {
		if _, err := strconv.ParseFloat(strings.Trim(value, `"`), 64); err == nil {
			hint = "send it without quotes"
			if !numeric(value[1]) {
				hint = "leave out what has no value"
			}
		}
	}
	if first == 'n' {
		hint = "leave out what has no value"
	}
	d.fault("type", value, allowed, hint)
}

func (d *decoder) unknownKey(key string, of protoreflect.MessageDescriptor) {
	d.push(shorten(key))
	defer d.pop()
	fields := of.Fields()
	keys := make([]string, fields.Len())
	for i := range keys {
		keys[i] = string(fields.Get(i).Name())
	}
	value := d.raw()
	hint := suggest(key, keys)
	if hint == "" && len(keys) == 0 {
		hint = "nothing is asked for here"
	}
	d.fault("known", value, "one of "+names(fields), hint)
}

func (d *decoder) repeatedKey(before, key string) {
	hint := "it stands twice"
	if before != key {
		hint = "it is given both as " + strconv.Quote(before) + " and as " + strconv.Quote(key)
	}
	d.fault("once", d.raw(), "given once", hint)
}

func suggest(word string, candidates []string) string {
	if near, ok := nearest.Of(word, candidates); ok {
		return "did you mean " + near + "?"
	}
	return ""
}

// names lists the names of fields.
func names(fields protoreflect.FieldDescriptors) string {
	list := make([]string, fields.Len())
	for i := range list {
		list[i] = string(fields.Get(i).Name())
	}
	return strings.Join(list, ", ")
}

// enumList lists the names that a caller may send: not the value 0, which is
// never a state.
func enumList(values protoreflect.EnumValueDescriptors) []string {
	list := make([]string, 0, values.Len())
	for i := range values.Len() {
		if v := values.Get(i); v.Number() != 0 {
			list = append(list, string(v.Name()))
		}
	}
	return list
}

func enumNames(values protoreflect.EnumValueDescriptors) string {
	return "one of " + strings.Join(enumList(values), ", ")
}

// kindText says what a field of fd's kind accepts.
func kindText(fd protoreflect.FieldDescriptor) string {
	switch fd.Kind() {
	case protoreflect.StringKind:
		return "a string"
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.BytesKind:
		return "a string in base64"
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return "a finite number"
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return "a whole number from -2147483648 to 2147483647"
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return "a whole number from 0 to 4294967295"
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return "a whole number from 0 to 18446744073709551615"
	default:
		return "a whole number from -9223372036854775808 to 9223372036854775807"
	}
}

// shorten keeps what a fault quotes short, however long the text is.
func shorten(s string) string {
	const most = 80
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "..."
}
