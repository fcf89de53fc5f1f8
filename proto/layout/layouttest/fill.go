// Package layouttest makes random messages for tests that hold one reading of
// messages against another.
package layouttest

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// Types are all message types of the contract, in an order that stays.
func Types() []protoreflect.MessageType {
	var all []protoreflect.MessageType
	var walk func(protoreflect.MessageDescriptors)
	walk = func(list protoreflect.MessageDescriptors) {
		for i := range list.Len() {
			if of, err := protoregistry.GlobalTypes.FindMessageByName(list.Get(i).FullName()); err == nil && !list.Get(i).IsMapEntry() {
				all = append(all, of)
			}
			walk(list.Get(i).Messages())
		}
	}
	var files []protoreflect.FileDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage("bowroll.v1", func(fd protoreflect.FileDescriptor) bool {
		files = append(files, fd)
		return true
	})
	slices.SortFunc(files, func(a, b protoreflect.FileDescriptor) int { return strings.Compare(a.Path(), b.Path()) })
	for _, fd := range files {
		walk(fd.Messages())
	}
	return all
}

var doubles = []float64{0, math.Copysign(0, -1), 1, -1, 0.5, 15, 50, 4800, 101325, 600000, 1e-9, 1e22, math.MaxFloat64, math.NaN(), math.Inf(1)}
var texts = []string{"", "a", "takeoff", "s5", "A-1", "a--", "aircraftTypes/heron", "sites/a/decks/b", "sites/a/", "boosterTypes/x", "é", "e\u0301", "\n", "\"q\\", "\xff"}

// Fill sets about half of the fields of m, at most so deep, with values of which
// many are at an edge. Bad includes those that no JSON and no rule takes: numbers
// that are not finite, text that is not UTF-8, and unknown fields.
func Fill(r *rand.Rand, m protoreflect.Message, depth int, bad bool) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if r.IntN(2) == 0 || fd.Message() != nil && depth == 0 {
			continue
		}
		switch {
		case fd.IsMap():
			entries := m.Mutable(fd).Map()
			for range r.IntN(3) {
				v := entries.NewValue()
				if fd.MapValue().Message() != nil {
					Fill(r, v.Message(), depth-1, bad)
				} else {
					v = scalar(r, fd.MapValue(), bad)
				}
				entries.Set(scalar(r, fd.MapKey(), bad).MapKey(), v)
			}
		case fd.IsList():
			list := m.Mutable(fd).List()
			for range r.IntN(3) {
				if fd.Message() != nil {
					Fill(r, list.AppendMutable().Message(), depth-1, bad)
					continue
				}
				list.Append(scalar(r, fd, bad))
			}
		case fd.Message() != nil && fd.Message().FullName() == "google.protobuf.Timestamp":
			m.Mutable(fd).Message().Set(fd.Message().Fields().ByNumber(1), protoreflect.ValueOfInt64(r.Int64N(4e9)))
		case fd.Message() != nil:
			Fill(r, m.Mutable(fd).Message(), depth-1, bad)
		default:
			m.Set(fd, scalar(r, fd, bad))
		}
	}
	if bad && r.IntN(40) == 0 {
		m.SetUnknown([]byte{0xf8, 0x3f, 1})
	}
}

func scalar(r *rand.Rand, fd protoreflect.FieldDescriptor, bad bool) protoreflect.Value {
	good := 0
	if !bad {
		good = 2
	}
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		if r.IntN(2) == 0 {
			return protoreflect.ValueOfFloat64(r.NormFloat64() * 20)
		}
		return protoreflect.ValueOfFloat64(doubles[r.IntN(len(doubles)-good)])
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(texts[r.IntN(len(texts)-good/2)])
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte(texts[r.IntN(len(texts))]))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(r.IntN(2) == 0)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(r.IntN(fd.Enum().Values().Len() + 1)))
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(r.Int64N(100) - 20)
	case protoreflect.Uint64Kind:
		return protoreflect.ValueOfUint64(r.Uint64N(100))
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(r.Uint32N(100))
	default:
		return protoreflect.ValueOfInt32(r.Int32N(50) - 10)
	}
}
