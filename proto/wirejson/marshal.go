package wirejson

import (
	"encoding/base64"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/layout"
)

// Marshal returns m as one line of JSON without white space.
func Marshal(m proto.Message) ([]byte, error) {
	return Append(make([]byte, 0, usual), m)
}

// usual is what the answer about one take-off needs.
const usual = 4 << 10

// Append appends m as JSON to b. On an error b holds a part of m and is useless.
func Append(b []byte, m proto.Message) ([]byte, error) {
	l, v := layout.Of(m)
	return appendMessage(b, l, v)
}

// AppendFields appends the members of m without the braces around them, each
// after a comma, for an object that has begun with members of its own.
func AppendFields(b []byte, m proto.Message) ([]byte, error) {
	l, v := layout.Of(m)
	return appendFields(b, l, v, true)
}

func appendMessage(b []byte, l *layout.Message, m layout.Value) ([]byte, error) {
	if l.Descriptor.ParentFile().Package() == "google.protobuf" {
		// Instants, durations and their like have JSON forms of their own.
		text, err := protojson.Marshal(l.Message(m))
		return append(b, text...), err
	}
	b = append(b, '{')
	b, err := appendFields(b, l, m, false)
	return append(b, '}'), err
}

func appendFields(b []byte, l *layout.Message, m layout.Value, comma bool) ([]byte, error) {
	var err error
	for _, f := range l.Fields {
		if comma {
			b = append(b, ',')
		}
		comma = true
		b = append(b, '"')
		b = append(b, f.Descriptor.Name()...)
		b = append(b, '"', ':')
		if b, err = appendField(b, f, m); err != nil {
			return b, err
		}
	}
	return b, nil
}

func appendField(b []byte, f *layout.Field, m layout.Value) ([]byte, error) {
	v, present := f.Get(m)
	switch {
	case f.List:
		return appendList(b, f, v)
	case !present && f.Presence:
		return append(b, "null"...), nil
	default:
		return appendValue(b, f.Descriptor, f.Message, v)
	}
}

func appendList(b []byte, f *layout.Field, list layout.Value) ([]byte, error) {
	var err error
	b = append(b, '[')
	for i := range list.Len() {
		if i > 0 {
			b = append(b, ',')
		}
		if b, err = appendValue(b, f.Descriptor, f.Message, f.At(list, i)); err != nil {
			return b, err
		}
	}
	return append(b, ']'), nil
}

func appendValue(b []byte, fd protoreflect.FieldDescriptor, l *layout.Message, v layout.Value) ([]byte, error) {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return appendFloat(b, fd, v.Float(), 64)
	case protoreflect.FloatKind:
		return appendFloat(b, fd, float64(v.Float32()), 32)
	case protoreflect.StringKind:
		b, err := appendString(b, v.String())
		if err != nil {
			return b, fmt.Errorf("%s: %w", fd.FullName(), err)
		}
		return b, nil
	case protoreflect.BoolKind:
		return strconv.AppendBool(b, v.Bool()), nil
	case protoreflect.EnumKind:
		if value := fd.Enum().Values().ByNumber(protoreflect.EnumNumber(v.Int32())); value != nil {
			b = append(b, '"')
			b = append(b, value.Name()...)
			return append(b, '"'), nil
		}
		return strconv.AppendInt(b, int64(v.Int32()), 10), nil
	case protoreflect.MessageKind, protoreflect.GroupKind:
		return appendMessage(b, l, v)
	case protoreflect.BytesKind:
		b = append(b, '"')
		b = base64.StdEncoding.AppendEncode(b, v.Bytes())
		return append(b, '"'), nil
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return strconv.AppendInt(b, int64(v.Int32()), 10), nil
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return strconv.AppendUint(b, uint64(v.Uint32()), 10), nil
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		b = append(b, '"')
		b = strconv.AppendUint(b, v.Uint64(), 10)
		return append(b, '"'), nil
	default:
		b = append(b, '"')
		b = strconv.AppendInt(b, v.Int64(), 10)
		return append(b, '"'), nil
	}
}
