// Package canonical turns a message into bytes that depend on its meaning
// alone, and into digests over those bytes.
//
// JSON is no basis for a digest (its white space and number forms vary), and
// the binary protobuf form promises no stability between library versions. The
// form here is written down and ours:
//
//	message  = field* end            end = 0x00000000
//	field    = number value          in the order of field numbers, present fields only
//	number   = 4 bytes, big-endian, never 0x00000000
//	list     = count value*          count = 4 bytes, big-endian
//	double   = IEEE 754 bits, 8 bytes big-endian, negative zero written as zero
//	integer, enum, bool = 8 bytes, big-endian two's complement
//	string, bytes       = length (4 bytes) and the bytes
//
// A field without presence (proto3 scalar, list) is present when it is not its
// default. Provenance is left out: it is about an answer, not part of it. An
// aircraft type, booster type, site, deck, surface or policy inside another
// message is sealed: the SHA-256 sum over its own form stands for it, so that
// what a catalog holds is walked once ([Seals]) and not for every request that
// names it.
package canonical

import (
	"encoding/binary"
	"math"
	"reflect"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/proto/layout"
)

// provenance is the message that canonical bytes leave out.
const provenance protoreflect.FullName = "bowroll.v1.Provenance"

// Digest returns "sha256:" and the first 32 hexadecimal digits of the SHA-256
// sum over the canonical forms of the messages, one after the other.
func Digest(messages ...proto.Message) string {
	return (*Seals)(nil).Digest(messages...)
}

// Append appends the canonical form of m to b.
func Append(b []byte, m proto.Message) []byte {
	l, v := layout.Of(m)
	return (*Seals)(nil).appendMessage(b, l, v)
}

func (s *Seals) appendMessage(b []byte, l *layout.Message, m reflect.Value) []byte {
	for _, f := range l.ByNumber {
		if f.Message != nil && f.Message.Descriptor.FullName() == provenance {
			continue
		}
		if v, present := f.Get(m); present {
			b = binary.BigEndian.AppendUint32(b, uint32(f.Number))
			b = s.appendField(b, f, v)
		}
	}
	return binary.BigEndian.AppendUint32(b, 0)
}

func (s *Seals) appendField(b []byte, f *layout.Field, v reflect.Value) []byte {
	switch {
	case f.Map:
		return s.appendMap(b, f.Descriptor, v)
	case f.List:
		b = binary.BigEndian.AppendUint32(b, uint32(v.Len()))
		for i := range v.Len() {
			b = s.appendValue(b, f.Kind, f.Message, f.At(v, i))
		}
		return b
	default:
		return s.appendValue(b, f.Kind, f.Message, v)
	}
}

// appendMap writes a map as a list of keys and values in the order of the
// keys' own canonical bytes.
func (s *Seals) appendMap(b []byte, fd protoreflect.FieldDescriptor, m reflect.Value) []byte {
	entries := make([]string, 0, m.Len())
	for each := m.MapRange(); each.Next(); {
		value, of := each.Value(), (*layout.Message)(nil)
		if fd.MapValue().Message() != nil {
			of, value = layout.Of(value.Interface().(proto.Message))
		}
		e := s.appendValue(nil, fd.MapKey().Kind(), nil, each.Key())
		entries = append(entries, string(s.appendValue(e, fd.MapValue().Kind(), of, value)))
	}
	slices.Sort(entries)
	b = binary.BigEndian.AppendUint32(b, uint32(len(entries)))
	for _, e := range entries {
		b = append(b, e...)
	}
	return b
}

func (s *Seals) appendValue(b []byte, kind protoreflect.Kind, of *layout.Message, v reflect.Value) []byte {
	switch kind {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		if sealed(of.Descriptor.FullName()) {
			sum := s.sum(of, v)
			return append(b, sum[:]...)
		}
		return s.appendMessage(b, of, v)
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		f := v.Float()
		if f == 0 {
			f = 0 // negative zero is zero
		}
		return binary.BigEndian.AppendUint64(b, math.Float64bits(f))
	case protoreflect.StringKind:
		text := v.String()
		return append(binary.BigEndian.AppendUint32(b, uint32(len(text))), text...)
	case protoreflect.BytesKind:
		raw := v.Bytes()
		return append(binary.BigEndian.AppendUint32(b, uint32(len(raw))), raw...)
	case protoreflect.BoolKind:
		if v.Bool() {
			return binary.BigEndian.AppendUint64(b, 1)
		}
		return binary.BigEndian.AppendUint64(b, 0)
	case protoreflect.Uint32Kind, protoreflect.Uint64Kind, protoreflect.Fixed32Kind, protoreflect.Fixed64Kind:
		return binary.BigEndian.AppendUint64(b, v.Uint())
	default:
		return binary.BigEndian.AppendUint64(b, uint64(v.Int()))
	}
}
