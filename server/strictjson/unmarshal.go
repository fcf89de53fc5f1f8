package strictjson

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// MaxFaults is the most faults that one reading lists; it stops there.
const MaxFaults = 100

// MaxElements is the most elements of one list that are read, well above what
// any list of the contract may hold; it bounds what a small text can allocate.
const MaxElements = 20000

// SyntaxError says where a text stops being a JSON object.
type SyntaxError struct {
	// Line and Column count from 1; Column counts bytes.
	Line, Column int
	// Detail is what is wrong there.
	Detail string
}

// Error returns the place and what is wrong.
func (e *SyntaxError) Error() string {
	return fmt.Sprintf("not a JSON object: line %d, column %d: %s", e.Line, e.Column, e.Detail)
}

// Unmarshal reads the JSON object in data into m, which should be empty, and
// returns every fault in the order of the text, at most MaxFaults. With faults,
// m holds what could be read. The error is a *SyntaxError, and m is then
// untouched. It does not keep data.
func Unmarshal(data []byte, m proto.Message) ([]*bowrollv1.Violation, error) {
	if err := checkSyntax(data); err != nil {
		return nil, err
	}
	d := &decoder{text: data}
	d.space()
	d.message(m.ProtoReflect())
	return d.faults, nil
}

// checkSyntax lets the standard library judge the text, so that the decoder
// only ever sees valid JSON whose outermost value is an object.
func checkSyntax(data []byte) error {
	if !json.Valid(data) {
		var syntax *json.SyntaxError
		var raw json.RawMessage
		if errors.As(json.Unmarshal(data, &raw), &syntax) {
			return syntaxError(data, int(syntax.Offset)-1, syntax.Error())
		}
		return syntaxError(data, len(data), "unreadable")
	}
	at := bytes.IndexFunc(data, func(r rune) bool { return r != ' ' && r != '\t' && r != '\n' && r != '\r' })
	if data[at] != '{' {
		return syntaxError(data, at, "the outermost value must be an object, {...}")
	}
	return nil
}

func syntaxError(data []byte, at int, detail string) *SyntaxError {
	at = max(0, min(at, len(data)))
	before := data[:at]
	return &SyntaxError{
		Line:   1 + bytes.Count(before, []byte{'\n'}),
		Column: at - bytes.LastIndexByte(before, '\n'),
		Detail: detail,
	}
}

// decoder walks valid JSON beside the message that it fills.
type decoder struct {
	text   []byte
	at     int
	path   []step
	faults []*bowrollv1.Violation
}

// full says that enough faults were found.
func (d *decoder) full() bool { return len(d.faults) >= MaxFaults }

// message reads an object into m. The reader stands at its first byte.
func (d *decoder) message(m protoreflect.Message) {
	if d.text[d.at] != '{' {
		d.wrongType("an object, {...}")
		return
	}
	fields := m.Descriptor().Fields()
	seen := make(map[protoreflect.FieldNumber]string, 8)
	d.object(func(key string) {
		fd := fields.ByName(protoreflect.Name(key))
		if fd == nil {
			fd = fields.ByJSONName(key)
		}
		if fd == nil {
			d.unknownKey(key, m.Descriptor())
			return
		}
		d.push(string(fd.Name()))
		defer d.pop()
		if before, twice := seen[fd.Number()]; twice {
			d.repeatedKey(before, key)
			return
		}
		seen[fd.Number()] = key
		d.field(m, fd)
	})
}

// field reads the value of one field of m. null is absence.
func (d *decoder) field(m protoreflect.Message, fd protoreflect.FieldDescriptor) {
	if d.text[d.at] == 'n' {
		d.skip()
		return
	}
	if one := fd.ContainingOneof(); one != nil && !one.IsSynthetic() {
		if other := m.WhichOneof(one); other != nil {
			d.fault("oneof", d.raw(), "only one of "+names(one.Fields()), fmt.Sprintf("%s is given as well", other.Name()))
			return
		}
	}
	switch {
	case fd.IsMap():
		d.entries(m, fd)
	case fd.IsList():
		d.list(m, fd)
	case fd.Message() != nil:
		d.submessage(m.Mutable(fd).Message())
	default:
		if v, ok := d.scalar(fd); ok {
			m.Set(fd, v)
		}
	}
}

// list reads an array into a repeated field.
func (d *decoder) list(m protoreflect.Message, fd protoreflect.FieldDescriptor) {
	if d.text[d.at] != '[' {
		d.wrongType("a list, [...]")
		return
	}
	list := m.Mutable(fd).List()
	d.array(func(i int) {
		if i >= MaxElements {
			if d.skip(); i == MaxElements {
				d.fault("count", "", fmt.Sprintf("at most %d entries", MaxElements), "")
			}
			return
		}
		d.pushIndex(i)
		defer d.pop()
		// A faulty element keeps its place, so that the others keep theirs.
		if fd.Message() != nil {
			d.submessage(list.AppendMutable().Message())
			return
		}
		v, ok := d.scalar(fd)
		if !ok {
			v = list.NewElement()
		}
		list.Append(v)
	})
}

// entries reads an object into a map field.
func (d *decoder) entries(m protoreflect.Message, fd protoreflect.FieldDescriptor) {
	if d.text[d.at] != '{' {
		d.wrongType("an object, {...}")
		return
	}
	entries := m.Mutable(fd).Map()
	d.object(func(key string) {
		d.pushKey(key)
		defer d.pop()
		k, ok := mapKey(fd.MapKey(), key)
		if !ok {
			d.fault("type", key, kindText(fd.MapKey()), "")
			return
		}
		if entries.Has(k) {
			d.repeatedKey(key, key)
			return
		}
		v := entries.NewValue()
		if fd.MapValue().Message() != nil {
			d.submessage(v.Message())
		} else if read, ok := d.scalar(fd.MapValue()); ok {
			v = read
		}
		entries.Set(k, v)
	})
}
