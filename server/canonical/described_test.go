package canonical

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	_ "bowroll/proto/bowroll/v1"
	"bowroll/proto/layout/layouttest"
)

// The form of random messages is, to the byte, what the description in the
// package's comment gives when it is followed by the protobuf library's
// reflection.
func TestFormIsAsDescribed(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, of := range layouttest.Types() {
		for range 10 {
			m := of.New()
			layouttest.Fill(r, m, 3, true)
			if got, want := Append(nil, m.Interface()), (*described)(nil).appendMessage(nil, m); string(got) != string(want) {
				t.Fatalf("%v:\n%x\nwant\n%x", m, got, want)
			}
		}
	}
}

// described walks messages by the protobuf library's reflection.
type described struct{}

func (s *described) appendMessage(b []byte, m protoreflect.Message) []byte {
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

func (s *described) appendPresent(b []byte, fd protoreflect.FieldDescriptor, m protoreflect.Message) []byte {
	if !m.Has(fd) || fd.Message() != nil && fd.Message().FullName() == provenance {
		return b
	}
	b = binary.BigEndian.AppendUint32(b, uint32(fd.Number()))
	return s.appendField(b, fd, m.Get(fd))
}

func (s *described) appendField(b []byte, fd protoreflect.FieldDescriptor, v protoreflect.Value) []byte {
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
func (s *described) appendMap(b []byte, fd protoreflect.FieldDescriptor, m protoreflect.Map) []byte {
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

func (s *described) appendValue(b []byte, fd protoreflect.FieldDescriptor, v protoreflect.Value) []byte {
	switch fd.Kind() {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		if sealed(fd.Message().FullName()) {
			sum := sha256.Sum256(s.appendMessage(nil, v.Message()))
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
