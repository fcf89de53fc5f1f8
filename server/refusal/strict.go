package refusal

import (
	"fmt"
	"math"
	"strconv"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// attachedNumber is the field number under which a gateway hands faults of its
// own reading on with a message: the greatest there is, which no message uses.
const attachedNumber protowire.Number = protowire.MaxValidNumber

// Attach hands faults that were found while m was read on with m, so that the
// service refuses m once, with these and its own faults together. They travel
// as an unknown field, which the service refuses from anyone.
func Attach(m proto.Message, faults []*bowrollv1.Violation) error {
	if len(faults) == 0 {
		return nil
	}
	list, err := proto.Marshal(&bowrollv1.Violations{Violations: faults})
	if err != nil {
		return err
	}
	r := m.ProtoReflect()
	field := protowire.AppendTag(append([]byte(nil), r.GetUnknown()...), attachedNumber, protowire.BytesType)
	r.SetUnknown(protowire.AppendBytes(field, list))
	return nil
}

// strict returns what the binary form lets through and the contract does not:
// unknown fields, numbers that are not finite and texts that are no line for
// people, at any depth, and the faults that were attached. Fields for which skip
// answers true are left alone. On the way every minus zero becomes zero: they
// are one number, and must give one answer and one digest.
func strict(prefix string, m protoreflect.Message, skip func(protoreflect.FieldDescriptor) bool) []*bowrollv1.Violation {
	var faults []*bowrollv1.Violation
	if unknown := m.GetUnknown(); len(unknown) > 0 {
		faults = unknownFaults(prefix, m.Descriptor(), unknown)
	}
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if !holdsFaults(fd) || skip != nil && skip(fd) {
			return true
		}
		switch {
		case fd.IsMap():
			v.Map().Range(func(k protoreflect.MapKey, v protoreflect.Value) bool {
				at := join(prefix, string(fd.Name())) + "[" + strconv.Quote(k.String()) + "]"
				faults = append(faults, strictValue(at, fd.MapValue(), v)...)
				return true
			})
		case fd.IsList():
			list := v.List()
			for i := range list.Len() {
				if sound(fd, list.Get(i)) {
					if minusZero(fd, list.Get(i)) {
						list.Set(i, protoreflect.ValueOfFloat64(0))
					}
					continue
				}
				at := join(prefix, string(fd.Name())) + "[" + strconv.Itoa(i) + "]"
				faults = append(faults, strictValue(at, fd, list.Get(i))...)
			}
		case !sound(fd, v):
			faults = append(faults, strictValue(join(prefix, string(fd.Name())), fd, v)...)
		case minusZero(fd, v):
			m.Set(fd, protoreflect.ValueOfFloat64(0))
		}
		return true
	})
	return faults
}

// minusZero tells a number that is zero with a minus sign. The contract has no
// other floating-point kind than double.
func minusZero(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
	return fd.Kind() == protoreflect.DoubleKind && v.Float() == 0 && math.Signbit(v.Float())
}

// holdsFaults says whether a value of fd can hold a fault at all.
func holdsFaults(fd protoreflect.FieldDescriptor) bool {
	switch fd.Kind() {
	case protoreflect.DoubleKind, protoreflect.FloatKind, protoreflect.StringKind, protoreflect.MessageKind, protoreflect.GroupKind:
		return true
	}
	return false
}

// sound settles the ordinary case, a finite number or plain text, without making
// a path.
func sound(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
	switch {
	case fd.Message() != nil:
		return false
	case fd.Kind() == protoreflect.StringKind:
		return plain(v.String())
	}
	f := v.Float()
	return !math.IsNaN(f) && !math.IsInf(f, 0)
}

func strictValue(at string, fd protoreflect.FieldDescriptor, v protoreflect.Value) []*bowrollv1.Violation {
	if fd.Message() != nil {
		return strict(at, v.Message(), nil)
	}
	if !holdsFaults(fd) || sound(fd, v) {
		return nil
	}
	if fd.Kind() == protoreflect.StringKind {
		if rulesOf(fd).GetString().GetMaxBytes() > mostText {
			return nil
		}
		if fault := Text(at, v.String()); fault != nil {
			return []*bowrollv1.Violation{fault}
		}
		return nil
	}
	return []*bowrollv1.Violation{{
		Field: at, Value: strconv.FormatFloat(v.Float(), 'g', -1, 64), Rule: "finite",
		Allowed: "a finite number", Hint: "leave out what has no value",
	}}
}

func unknownFaults(prefix string, of protoreflect.MessageDescriptor, unknown []byte) []*bowrollv1.Violation {
	var faults []*bowrollv1.Violation
	for len(unknown) > 0 {
		number, kind, n := protowire.ConsumeTag(unknown)
		if n < 0 {
			break
		}
		size := protowire.ConsumeFieldValue(number, kind, unknown[n:])
		if size < 0 {
			break
		}
		if number == attachedNumber && kind == protowire.BytesType {
			faults = append(faults, attached(prefix, unknown[n:n+size])...)
		} else {
			faults = append(faults, &bowrollv1.Violation{
				Field: join(prefix, strconv.Itoa(int(number))), Rule: "known",
				Allowed: fmt.Sprintf("a field of %s", of.FullName()),
				Hint:    "the sender's contract is newer or another than this service's",
			})
		}
		unknown = unknown[n+size:]
	}
	return faults
}

func attached(prefix string, field []byte) []*bowrollv1.Violation {
	text, n := protowire.ConsumeBytes(field)
	var list bowrollv1.Violations
	if n < 0 || proto.Unmarshal(text, &list) != nil {
		return []*bowrollv1.Violation{{Field: prefix, Rule: "known", Hint: "unreadable"}}
	}
	for _, f := range list.GetViolations() {
		f.Field = join(prefix, f.GetField())
	}
	return list.GetViolations()
}
