package layout

import (
	"math"
	"reflect"
	"unsafe"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// A Value is where a struct keeps a message, a scalar or a list. It is read as the
// kind that its field has, and by no other: like the library's own reading of
// structs, it trusts what was derived from their types. Two values are equal where
// they are the same place.
type Value struct{ at unsafe.Pointer }

// Zero reads as the zero of every kind of scalar.
func Zero() Value { return Value{unsafe.Pointer(new([3]uint64))} }

// Float is a double.
func (v Value) Float() float64 { return *(*float64)(v.at) }

// Float32 is a float.
func (v Value) Float32() float32 { return *(*float32)(v.at) }

// Int32 is an enum's number or an integer of 32 bits.
func (v Value) Int32() int32 { return *(*int32)(v.at) }

// Int64 is an integer of 64 bits.
func (v Value) Int64() int64 { return *(*int64)(v.at) }

// Uint32 is an unsigned integer of 32 bits.
func (v Value) Uint32() uint32 { return *(*uint32)(v.at) }

// Uint64 is an unsigned integer of 64 bits.
func (v Value) Uint64() uint64 { return *(*uint64)(v.at) }

// Bool is a truth value.
func (v Value) Bool() bool { return *(*bool)(v.at) }

// String is a text.
func (v Value) String() string { return *(*string)(v.at) }

// Bytes are bytes.
func (v Value) Bytes() []byte { return *(*[]byte)(v.at) }

// Len is the length of a list, whatever its elements are.
func (v Value) Len() int { return len(*(*[]byte)(v.at)) }

// form is how a struct keeps a field.
type form uint8

const (
	inPointer form = iota // a message, or a scalar with presence: nil where there is none
	inOneof
	inList
	inBytes // with presence: nil where there is none
	bareText
	bareFloat
	bareFloat32
	bareBool
	bare32
	bare64
)

func formOf(f *Field) form {
	switch {
	case f.member != nil:
		return inOneof
	case f.List:
		return inList
	case f.field.Kind() == reflect.Pointer:
		return inPointer
	}
	switch f.Kind {
	case protoreflect.BytesKind:
		if f.Presence {
			return inBytes
		}
		return inList // of bytes: there where there are any
	case protoreflect.StringKind:
		return bareText
	case protoreflect.DoubleKind:
		return bareFloat
	case protoreflect.FloatKind:
		return bareFloat32
	case protoreflect.BoolKind:
		return bareBool
	}
	if f.field.Size() == 4 {
		return bare32
	}
	return bare64
}

// or is the message that a pointer points to; nothing is an empty message.
func (l *Message) or(pointer unsafe.Pointer) Value {
	if pointer == nil {
		return Value{l.empty}
	}
	return Value{pointer}
}

// Message is m as the library knows it.
func (l *Message) Message(m Value) proto.Message {
	return reflect.NewAt(l.of, m.at).Interface().(proto.Message)
}

// HasUnknown tells whether a message holds what its type does not know.
func (l *Message) HasUnknown(m Value) bool {
	return l.unknownBytes(m) > 0
}

func (l *Message) unknownBytes(m Value) int {
	return len(*(*[]byte)(unsafe.Add(m.at, l.unknown)))
}

// MostBytes is no less than a message takes in binary form, and sooner known.
func (l *Message) MostBytes(m Value) int {
	n := l.unknownBytes(m)
	for _, f := range l.Fields {
		v, present := f.Get(m)
		switch {
		case !present:
		case f.List:
			for i := range v.Len() {
				n += f.mostBytes(f.At(v, i))
			}
		default:
			n += f.mostBytes(v)
		}
	}
	return n
}

// mostBytes is for one value of a field, its number and length with it.
func (f *Field) mostBytes(v Value) int {
	const numberAndLength, integer = 10, 10
	switch {
	case f.Message != nil:
		return numberAndLength + f.Message.MostBytes(v)
	case f.Kind == protoreflect.StringKind:
		return numberAndLength + len(v.String())
	case f.Kind == protoreflect.BytesKind:
		return numberAndLength + len(v.Bytes())
	}
	return numberAndLength + integer
}

// Get returns a field's value. Present is as protobuf has it: what has no presence
// is present where it is not its zero value. A value with presence is read only
// where it is present; one without reads as zero.
func (f *Field) Get(m Value) (v Value, present bool) {
	at := unsafe.Add(m.at, f.offset)
	v = Value{at}
	switch f.form {
	case inPointer:
		v.at = *(*unsafe.Pointer)(at)
		return v, v.at != nil
	case inOneof:
		return f.chosen(at)
	case inList:
		return v, v.Len() > 0
	case bareText:
		return v, v.String() != ""
	case inBytes:
		return v, v.Bytes() != nil
	case bareFloat:
		return v, math.Float64bits(v.Float()) != 0
	case bareFloat32:
		return v, math.Float32bits(v.Float32()) != 0
	case bareBool:
		return v, v.Bool()
	case bare32:
		return v, v.Uint32() != 0
	default:
		return v, v.Uint64() != 0
	}
}

// chosen is a member of a oneof, where it is the one that is set.
func (f *Field) chosen(at unsafe.Pointer) (v Value, present bool) {
	around := reflect.NewAt(f.field, at).Elem().Elem()
	if !around.IsValid() || around.Type() != f.member {
		return Value{}, false
	}
	v.at = around.Elem().Field(0).Addr().UnsafePointer()
	if f.Message != nil {
		v.at = *(*unsafe.Pointer)(v.at)
		return v, v.at != nil
	}
	return v, true
}

// At returns an element of a list.
func (f *Field) At(list Value, i int) Value {
	at := unsafe.Add(*(*unsafe.Pointer)(list.at), uintptr(i)*f.stride)
	if f.Message != nil {
		return f.Message.or(*(*unsafe.Pointer)(at))
	}
	return Value{at}
}
