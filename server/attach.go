package server

import (
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// attach sends the faults of reading m along with it. A fault inside an item of
// a list goes with that item, so that a service that answers items one by one
// refuses that one alone.
func attach(m proto.Message, faults []*bowrollv1.Violation) error {
	return attachTo(m, faults, holderOf)
}

// attachInside does the same for a message of a stream, which is itself one
// item of many: a fault inside a message of it goes with that one, since a fault
// of the message as a whole ends the stream.
func attachInside(m proto.Message, faults []*bowrollv1.Violation) error {
	return attachTo(m, faults, func(m proto.Message, path string) (proto.Message, string) {
		field, rest, found := strings.Cut(path, ".")
		r := m.ProtoReflect()
		fd := r.Descriptor().Fields().ByName(protoreflect.Name(field))
		if !found || fd == nil || fd.Message() == nil || fd.IsList() || !r.Has(fd) {
			return m, path
		}
		return r.Get(fd).Message().Interface(), rest
	})
}

// attachTo attaches each fault to the message that holder says, with its path
// from there.
func attachTo(m proto.Message, faults []*bowrollv1.Violation, holder func(proto.Message, string) (proto.Message, string)) error {
	byHolder := map[proto.Message][]*bowrollv1.Violation{}
	var holders []proto.Message
	for _, f := range faults {
		at, path := holder(m, f.GetField())
		f.Field = path
		if byHolder[at] == nil {
			holders = append(holders, at)
		}
		byHolder[at] = append(byHolder[at], f)
	}
	for _, h := range holders {
		if err := refusal.Attach(h, byHolder[h]); err != nil {
			return err
		}
	}
	return nil
}

// holderOf returns the message that a fault at path goes with, and the path
// from there.
func holderOf(m proto.Message, path string) (proto.Message, string) {
	field, rest, found := strings.Cut(path, "[")
	if !found || strings.Contains(field, ".") {
		return m, path
	}
	index, inside, found := strings.Cut(rest, "].")
	if !found {
		return m, path
	}
	r := m.ProtoReflect()
	fd := r.Descriptor().Fields().ByName(protoreflect.Name(field))
	if fd == nil || !fd.IsList() || fd.Message() == nil {
		return m, path
	}
	i, err := strconv.Atoi(index)
	list := r.Get(fd).List()
	if err != nil || i >= list.Len() {
		return m, path
	}
	return list.Get(i).Message().Interface(), inside
}
