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

func (s *Seals) appendMessage(b []byte, l *layout.Message, m layout.Value) []byte {
	for _, f := range l.ByNumber {
		if f.Message != nil && f.Message.Name == provenance {
			continue
		}
		if v, present := f.Get(m); present {
			b = binary.BigEndian.AppendUint32(b, uint32(f.Number))
			b = s.appendField(b, f, v)
		}
	}
	return binary.BigEndian.AppendUint32(b, 0)
}

func (s *Seals) appendField(b []byte, f *layout.Field, v layout.Value) []byte {
	if !f.List {
		return s.appendValue(b, f.Kind, f.Message, v)
	}
	b = binary.BigEndian.AppendUint32(b, uint32(v.Len()))
	for i := range v.Len() {
		b = s.appendValue(b, f.Kind, f.Message, f.At(v, i))
	}
	return b
}

func (s *Seals) appendValue(b []byte, kind protoreflect.Kind, of *layout.Message, v layout.Value) []byte {
	switch kind {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		if sealed(of.Name) {
			sum := s.sum(of, v)
			return append(b, sum[:]...)
		}
		return s.appendMessage(b, of, v)
	case protoreflect.DoubleKind:
		return appendFloat(b, v.Float())
	case protoreflect.FloatKind:
		return appendFloat(b, float64(v.Float32()))
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
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return binary.BigEndian.AppendUint64(b, uint64(v.Uint32()))
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return binary.BigEndian.AppendUint64(b, v.Uint64())
	case protoreflect.EnumKind, protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return binary.BigEndian.AppendUint64(b, uint64(v.Int32()))
	default:
		return binary.BigEndian.AppendUint64(b, uint64(v.Int64()))
	}
}

func appendFloat(b []byte, f float64) []byte {
	if f == 0 {
		f = 0 // negative zero is zero
	}
	return binary.BigEndian.AppendUint64(b, math.Float64bits(f))
}
