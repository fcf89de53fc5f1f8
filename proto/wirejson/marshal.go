package wirejson

import (
	"encoding/base64"
	"fmt"
	"slices"
	"strconv"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// Marshal returns m as one line of JSON without white space.
func Marshal(m proto.Message) ([]byte, error) {
	return Append(nil, m)
}

// Append appends m as JSON to b. On an error b holds a part of m and is useless.
func Append(b []byte, m proto.Message) ([]byte, error) {
	return appendMessage(b, m.ProtoReflect())
}

// AppendFields appends the members of m without the braces around them, each
// after a comma, for an object that has begun with members of its own.
func AppendFields(b []byte, m proto.Message) ([]byte, error) {
	return appendFields(b, m.ProtoReflect(), true)
}

func appendMessage(b []byte, m protoreflect.Message) ([]byte, error) {
	if m.Descriptor().ParentFile().Package() == "google.protobuf" {
		// Instants, durations and their like have JSON forms of their own.
		text, err := protojson.Marshal(m.Interface())
		return append(b, text...), err
	}
	b = append(b, '{')
	b, err := appendFields(b, m, false)
	return append(b, '}'), err
}

func appendFields(b []byte, m protoreflect.Message, comma bool) ([]byte, error) {
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
		if b, err = appendField(b, fd, m); err != nil {
			return b, err
		}
	}
	return b, nil
}

func appendField(b []byte, fd protoreflect.FieldDescriptor, m protoreflect.Message) ([]byte, error) {
	if fd.HasPresence() && !m.Has(fd) {
		return append(b, "null"...), nil
	}
	v := m.Get(fd)
	switch {
	case fd.IsMap():
		return appendMap(b, fd, v.Map())
	case fd.IsList():
		return appendList(b, fd, v.List())
	default:
		return appendValue(b, fd, v)
	}
}

func appendList(b []byte, fd protoreflect.FieldDescriptor, list protoreflect.List) ([]byte, error) {
	var err error
	b = append(b, '[')
	for i := range list.Len() {
		if i > 0 {
			b = append(b, ',')
		}
		if b, err = appendValue(b, fd, list.Get(i)); err != nil {
			return b, err
		}
	}
	return append(b, ']'), nil
}

// appendMap writes the entries in the order of their keys as text.
func appendMap(b []byte, fd protoreflect.FieldDescriptor, entries protoreflect.Map) ([]byte, error) {
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
		if b, err = appendValue(b, fd.MapValue(), entries.Get(k)); err != nil {
			return b, err
		}
	}
	return append(b, '}'), nil
}

func appendValue(b []byte, fd protoreflect.FieldDescriptor, v protoreflect.Value) ([]byte, error) {
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
		return appendMessage(b, v.Message())
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
