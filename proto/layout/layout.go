// Package layout says where the generated Go structs keep the fields of messages,
// for the few places that every request passes: the contract's rules, the digest,
// JSON. Read by it a field costs a thirtieth of what it costs by the reflection of
// the protobuf library, which answers the same.
package layout

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unsafe"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
)

// A Message is where messages of one type keep their fields. It is only read.
type Message struct {
	// Name is the full name of the type.
	Name protoreflect.FullName
	// Descriptor is the type.
	Descriptor protoreflect.MessageDescriptor
	// Fields are all fields in the order of the .proto file.
	Fields []*Field
	// ByNumber are the same in the order of their numbers.
	ByNumber []*Field

	of      reflect.Type // the struct
	empty   unsafe.Pointer
	unknown uintptr
}

// A Field is where one field is kept.
type Field struct {
	// Descriptor is the field.
	Descriptor protoreflect.FieldDescriptor
	// Number is its number.
	Number protoreflect.FieldNumber
	// Kind is that of its value, or of the elements of a list.
	Kind protoreflect.Kind
	// List tells fields of many values.
	List bool
	// Presence tells fields that may be absent, and not only zero.
	Presence bool
	// Message is the layout of a message, or of the elements of a list of them;
	// nil for other kinds.
	Message *Message

	form   form
	offset uintptr
	stride uintptr      // from one element of a list to the next
	field  reflect.Type // as the struct declares it
	member reflect.Type // the struct around a member of a oneof
}

// known holds what is derived from the program's own types, once for each.
var known sync.Map // reflect.Type to *Message

// Of returns the layout of m and where m is, an empty message where m is nil. It
// panics for a message that was not generated as an open struct or holds a map:
// the contract has neither.
func Of(m proto.Message) (*Message, Value) {
	v := reflect.ValueOf(m)
	found, ok := known.Load(v.Type())
	if !ok {
		made := map[reflect.Type]*Message{}
		found = build(m.ProtoReflect().Type(), made)
		for of, l := range made {
			known.LoadOrStore(of, l)
		}
	}
	l := found.(*Message)
	return l, l.or(v.UnsafePointer())
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
	l := &Message{Name: of.Descriptor().FullName(), Descriptor: of.Descriptor(), of: pointer.Elem()}
	made[pointer] = l
	l.empty = reflect.New(l.of).UnsafePointer()
	byNumber := structFields(of, l)
	fields := of.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		f := byNumber[fd.Number()]
		if f == nil || fd.IsMap() {
			panic(fmt.Sprintf("%s is a map or not in its struct", fd.FullName()))
		}
		f.Descriptor, f.Number, f.Kind, f.List, f.Presence = fd, fd.Number(), fd.Kind(), fd.IsList(), fd.HasPresence()
		f.form = formOf(f)
		if f.List {
			f.stride = f.field.Elem().Size()
		}
		if fd.Message() != nil {
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
func structFields(of protoreflect.MessageType, l *Message) map[protoreflect.FieldNumber]*Field {
	found := map[protoreflect.FieldNumber]*Field{}
	for i := range l.of.NumField() {
		field := l.of.Field(i)
		switch {
		case field.Name == "unknownFields":
			l.unknown = field.Offset
		case field.Tag.Get("protobuf") != "":
			found[number(field)] = &Field{offset: field.Offset, field: field.Type}
		case field.Tag.Get("protobuf_oneof") != "":
			one := of.Descriptor().Oneofs().ByName(protoreflect.Name(field.Tag.Get("protobuf_oneof")))
			for j := range one.Fields().Len() {
				// A message with this member set shows the struct around it.
				m := of.New()
				fd := one.Fields().Get(j)
				m.Set(fd, m.NewField(fd))
				member := reflect.ValueOf(m.Interface()).Elem().Field(i).Elem().Type()
				found[fd.Number()] = &Field{offset: field.Offset, field: field.Type, member: member}
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
