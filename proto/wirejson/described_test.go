package wirejson

import (
	"encoding/base64"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/layout/layouttest"
)

// Random messages are written, to the byte, as the protobuf library's reflection
// over them says, and read back by the standard mapping as they were.
func TestFormIsThatOfReflection(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for _, of := range layouttest.Types() {
		for i := range 12 {
			m := of.New()
			layouttest.Fill(r, m, 3, i%2 == 0)
			got, err := Marshal(m.Interface())
			want, wantErr := described{}.appendMessage(nil, m)
			if (err != nil) != (wantErr != nil) {
				t.Fatalf("%v: %v, want %v", m, err, wantErr)
			}
			if err != nil {
				continue
			}
			if string(got) != string(want) {
				t.Fatalf("got\n%s\nwant\n%s", got, want)
			}
			if i%2 == 0 {
				continue // it may hold unknown fields, which no JSON has
			}
			back := of.New().Interface()
			if err := protojson.Unmarshal(got, back); err != nil || !proto.Equal(back, m.Interface()) {
				t.Fatalf("%s\nreads back by the standard mapping as %v, %v, want %v", got, back, err, m)
			}
		}
	}
}

// described walks messages by the protobuf library's reflection.
type described struct{}

func (d described) appendMessage(b []byte, m protoreflect.Message) ([]byte, error) {
	if m.Descriptor().ParentFile().Package() == "google.protobuf" {
		// Instants, durations and their like have JSON forms of their own.
		text, err := protojson.Marshal(m.Interface())
		return append(b, text...), err
	}
	b = append(b, '{')
	b, err := d.appendFields(b, m, false)
	return append(b, '}'), err
}

func (d described) appendFields(b []byte, m protoreflect.Message, comma bool) ([]byte, error) {
	var err error
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if comma {
			b = append(b, ',')
		}
		comma = true
		b = append(b, '"')
		b = append(b, fd.Name()...)
		b = append(b, '"', ':')
		if b, err = d.appendField(b, fd, m); err != nil {
			return b, err
		}
	}
	return b, nil
}

func (d described) appendField(b []byte, fd protoreflect.FieldDescriptor, m protoreflect.Message) ([]byte, error) {
	if fd.HasPresence() && !m.Has(fd) {
		return append(b, "null"...), nil
	}
	v := m.Get(fd)
	switch {
	case fd.IsMap():
		return d.appendMap(b, fd, v.Map())
	case fd.IsList():
		return d.appendList(b, fd, v.List())
	default:
		return d.appendValue(b, fd, v)
	}
}

func (d described) appendList(b []byte, fd protoreflect.FieldDescriptor, list protoreflect.List) ([]byte, error) {
	var err error
	b = append(b, '[')
	for i := range list.Len() {
		if i > 0 {
			b = append(b, ',')
		}
		if b, err = d.appendValue(b, fd, list.Get(i)); err != nil {
			return b, err
		}
	}
	return append(b, ']'), nil
}

// appendMap writes the entries in the order of their keys as text.
func (d described) appendMap(b []byte, fd protoreflect.FieldDescriptor, entries protoreflect.Map) ([]byte, error) {
	keys := make([]protoreflect.MapKey, 0, entries.Len())
	entries.Range(func(k protoreflect.MapKey, _ protoreflect.Value) bool {
		keys = append(keys, k)
		return true
	})
	slices.SortFunc(keys, func(a, b protoreflect.MapKey) int {
		if a.String() < b.String() {
			return -1
		}
		return 1
	})
	var err error
	b = append(b, '{')
	for i, k := range keys {
		if i > 0 {
			b = append(b, ',')
		}
		if b, err = appendString(b, k.String()); err != nil {
			return b, err
		}
		b = append(b, ':')
		if b, err = d.appendValue(b, fd.MapValue(), entries.Get(k)); err != nil {
			return b, err
		}
	}
	return append(b, '}'), nil
}

func (d described) appendValue(b []byte, fd protoreflect.FieldDescriptor, v protoreflect.Value) ([]byte, error) {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return appendFloat(b, fd, v.Float(), 64)
	case protoreflect.FloatKind:
		return appendFloat(b, fd, v.Float(), 32)
	case protoreflect.StringKind:
		b, err := appendString(b, v.String())
		if err != nil {
			return b, fmt.Errorf("%s: %w", fd.FullName(), err)
		}
		return b, nil
	case protoreflect.BoolKind:
		return strconv.AppendBool(b, v.Bool()), nil
	case protoreflect.EnumKind:
		if value := fd.Enum().Values().ByNumber(v.Enum()); value != nil {
			b = append(b, '"')
			b = append(b, value.Name()...)
			return append(b, '"'), nil
		}
		return strconv.AppendInt(b, int64(v.Enum()), 10), nil
	case protoreflect.MessageKind, protoreflect.GroupKind:
		return d.appendMessage(b, v.Message())
	case protoreflect.BytesKind:
		b = append(b, '"')
		b = base64.StdEncoding.AppendEncode(b, v.Bytes())
		return append(b, '"'), nil
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return strconv.AppendInt(b, v.Int(), 10), nil
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return strconv.AppendUint(b, v.Uint(), 10), nil
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		b = append(b, '"')
		b = strconv.AppendUint(b, v.Uint(), 10)
		return append(b, '"'), nil
	default:
		b = append(b, '"')
		b = strconv.AppendInt(b, v.Int(), 10)
		return append(b, '"'), nil
	}
}
