// Package layout says where the generated Go structs keep the fields of messages,
// for the few places that every request passes: the contract's rules, the digest,
// JSON. Read by it a field costs a tenth of what it costs by the reflection of the
// protobuf library, which answers the same.
package layout

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// A Message is where messages of one type keep their fields. It is only read.
type Message struct {
	// Descriptor is the type.
	Descriptor protoreflect.MessageDescriptor
	// Fields are all fields in the order of the .proto file.
	Fields []*Field
	// ByNumber are the same in the order of their numbers.
	ByNumber []*Field
	unknown  int
}

// A Field is where one field is kept.
type Field struct {
	// Descriptor is the field.
	Descriptor protoreflect.FieldDescriptor
	// Number is its number.
	Number protoreflect.FieldNumber
	// Kind is that of its value, or of the elements of a list.
	Kind protoreflect.Kind
	// List and Map tell fields of many values.
	List, Map bool
	// Message is the layout of a message, or of the elements of a list of them;
	// nil for other kinds and for maps.
	Message *Message

	index   int
	pointer bool         // kept behind a pointer that is nil where there is none
	bytes   bool         // bytes with presence: nil where there is none
	oneof   reflect.Type // of the struct around a member of a oneof
}

// known holds what is derived from the program's own types, once for each.
var known sync.Map // reflect.Type to *Message

// Of returns the layout of m and its struct, an empty one where m is nil. It panics for a message that was not
// generated as an open struct, as every one of the contract is.
func Of(m proto.Message) (*Message, reflect.Value) {
	v := reflect.ValueOf(m)
	if found, ok := known.Load(v.Type()); ok {
		return found.(*Message), structOf(v)
	}
	made := map[reflect.Type]*Message{}
	layout := build(m.ProtoReflect().Type(), made)
	for of, l := range made {
		known.LoadOrStore(of, l)
	}
	return layout, structOf(v)
}

// structOf is what a pointer points to; nothing is an empty message.
func structOf(pointer reflect.Value) reflect.Value {
	if pointer.IsNil() {
		return reflect.New(pointer.Type().Elem()).Elem()
	}
	return pointer.Elem()
}

// Named returns the layout of a message type of this program.
func Named(name protoreflect.FullName) (*Message, error) {
	of, err := protoregistry.GlobalTypes.FindMessageByName(name)
	if err != nil {
		return nil, err
	}
	layout, _ := Of(of.New().Interface())
	return layout, nil
}

func build(of protoreflect.MessageType, made map[reflect.Type]*Message) *Message {
	pointer := reflect.TypeOf(of.Zero().Interface())
	if l := made[pointer]; l != nil {
		return l
	}
	l := &Message{Descriptor: of.Descriptor(), unknown: -1}
	made[pointer] = l
	byNumber := structFields(of, pointer.Elem(), l)
	fields := of.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		f := byNumber[fd.Number()]
		if f == nil {
			panic(fmt.Sprintf("%s is not in its struct", fd.FullName()))
		}
		f.Descriptor, f.Number, f.Kind, f.List, f.Map = fd, fd.Number(), fd.Kind(), fd.IsList(), fd.IsMap()
		f.bytes = f.Kind == protoreflect.BytesKind && fd.HasPresence() && !f.List
		if fd.Message() != nil && !f.Map {
			sub, err := protoregistry.GlobalTypes.FindMessageByName(fd.Message().FullName())
			if err != nil {
				panic(fmt.Sprintf("%s: %v", fd.FullName(), err))
			}
			f.Message = build(sub, made)
		}
		l.Fields = append(l.Fields, f)
	}
	l.ByNumber = slices.SortedFunc(slices.Values(l.Fields), func(a, b *Field) int {
		return int(a.Number - b.Number)
	})
	return l
}

// structFields finds the fields in a generated struct by the numbers in its tags.
func structFields(of protoreflect.MessageType, s reflect.Type, l *Message) map[protoreflect.FieldNumber]*Field {
	found := map[protoreflect.FieldNumber]*Field{}
	for i := range s.NumField() {
		field := s.Field(i)
		switch {
		case field.Name == "unknownFields":
			l.unknown = i
		case field.Tag.Get("protobuf") != "":
			found[number(field)] = &Field{index: i, pointer: field.Type.Kind() == reflect.Pointer}
		case field.Tag.Get("protobuf_oneof") != "":
			one := of.Descriptor().Oneofs().ByName(protoreflect.Name(field.Tag.Get("protobuf_oneof")))
			for j := range one.Fields().Len() {
				// A message with this member set shows the struct around it.
				m := of.New()
				fd := one.Fields().Get(j)
				m.Set(fd, m.NewField(fd))
				around := reflect.ValueOf(m.Interface()).Elem().Field(i).Elem().Type()
				found[fd.Number()] = &Field{index: i, oneof: around, pointer: fd.Message() != nil}
			}
		}
	}
	return found
}

// number is a field's number, the second word of its tag.
func number(field reflect.StructField) protoreflect.FieldNumber {
	words := strings.SplitN(field.Tag.Get("protobuf"), ",", 3)
	n, _ := strconv.Atoi(words[1]) // as generated
	return protoreflect.FieldNumber(n)
}

// HasUnknown tells whether a message holds what its type does not know.
func (l *Message) HasUnknown(m reflect.Value) bool { return m.Field(l.unknown).Len() > 0 }

// Get returns a field's value: of a message its struct, of a scalar the scalar, of
// a list or map itself. Present is as protobuf has it: what has no presence is
// present where it is not its zero value. Without presence the value is zero.
func (f *Field) Get(m reflect.Value) (v reflect.Value, present bool) {
	v = m.Field(f.index)
	if f.oneof != nil {
		if v = v.Elem(); !v.IsValid() || v.Type() != f.oneof {
			return reflect.Value{}, false
		}
		if v = v.Elem().Field(0); !f.pointer {
			return v, true
		}
	}
	switch {
	case f.pointer:
		if v.IsNil() {
			return reflect.Value{}, false
		}
		return v.Elem(), true
	case f.List || f.Map:
		return v, v.Len() > 0
	case f.bytes:
		return v, !v.IsNil()
	}
	switch v.Kind() {
	case reflect.String, reflect.Slice:
		return v, v.Len() > 0
	case reflect.Bool:
		return v, v.Bool()
	case reflect.Float64, reflect.Float32:
		return v, math.Float64bits(v.Float()) != 0
	case reflect.Int32, reflect.Int64:
		return v, v.Int() != 0
	default:
		return v, v.Uint() != 0
	}
}

// At returns an element of a list as [Field.Get] returns values.
func (f *Field) At(list reflect.Value, i int) reflect.Value {
	v := list.Index(i)
	if f.Message != nil {
		return structOf(v)
	}
	return v
}
