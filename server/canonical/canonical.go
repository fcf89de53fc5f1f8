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
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
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
	return (*Seals)(nil).appendMessage(b, m.ProtoReflect())
}

func (s *Seals) appendMessage(b []byte, m protoreflect.Message) []byte {
	fields := m.Descriptor().Fields()
	if ordered(fields) {
		for i := range fields.Len() {
			b = s.appendPresent(b, fields.Get(i), m)
		}
		return binary.BigEndian.AppendUint32(b, 0)
	}
	byNumber := make([]protoreflect.FieldDescriptor, fields.Len())
	for i := range byNumber {
		byNumber[i] = fields.Get(i)
	}
	slices.SortFunc(byNumber, func(x, y protoreflect.FieldDescriptor) int { return int(x.Number()) - int(y.Number()) })
	for _, fd := range byNumber {
		b = s.appendPresent(b, fd, m)
	}
	return binary.BigEndian.AppendUint32(b, 0)
}

// ordered says whether fields are declared in the order of their numbers, as
// nearly all are.
func ordered(fields protoreflect.FieldDescriptors) bool {
	for i := 1; i < fields.Len(); i++ {
		if fields.Get(i-1).Number() > fields.Get(i).Number() {
			return false
		}
	}
	return true
}

func (s *Seals) appendPresent(b []byte, fd protoreflect.FieldDescriptor, m protoreflect.Message) []byte {
	if !m.Has(fd) || fd.Message() != nil && fd.Message().FullName() == provenance {
		return b
	}
	b = binary.BigEndian.AppendUint32(b, uint32(fd.Number()))
	return s.appendField(b, fd, m.Get(fd))
}

func (s *Seals) appendField(b []byte, fd protoreflect.FieldDescriptor, v protoreflect.Value) []byte {
	switch {
	case fd.IsMap():
		return s.appendMap(b, fd, v.Map())
	case fd.IsList():
		list := v.List()
		b = binary.BigEndian.AppendUint32(b, uint32(list.Len()))
		for i := range list.Len() {
			b = s.appendValue(b, fd, list.Get(i))
		}
		return b
	default:
		return s.appendValue(b, fd, v)
	}
}

// appendMap writes a map as a list of keys and values in the order of the
// keys' own canonical bytes.
func (s *Seals) appendMap(b []byte, fd protoreflect.FieldDescriptor, m protoreflect.Map) []byte {
	entries := make([]string, 0, m.Len())
	m.Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
		e := s.appendValue(nil, fd.MapKey(), k.Value())
		entries = append(entries, string(s.appendValue(e, fd.MapValue(), v)))
		return true
	})
	slices.Sort(entries)
	b = binary.BigEndian.AppendUint32(b, uint32(len(entries)))
	for _, e := range entries {
		b = append(b, e...)
	}
	return b
}

func (s *Seals) appendValue(b []byte, fd protoreflect.FieldDescriptor, v protoreflect.Value) []byte {
	switch fd.Kind() {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		if sealed(fd.Message().FullName()) {
			sum := s.sum(v.Message())
			return append(b, sum[:]...)
		}
		return s.appendMessage(b, v.Message())
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
	case protoreflect.EnumKind:
		return binary.BigEndian.AppendUint64(b, uint64(v.Enum()))
	case protoreflect.Uint32Kind, protoreflect.Uint64Kind, protoreflect.Fixed32Kind, protoreflect.Fixed64Kind:
		return binary.BigEndian.AppendUint64(b, v.Uint())
	default:
		return binary.BigEndian.AppendUint64(b, uint64(v.Int()))
	}
}
