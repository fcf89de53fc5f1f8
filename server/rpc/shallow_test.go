package rpc

import (
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// populate sets every field of a message to something that is not its default.
func populate(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		switch {
		case fd.IsList():
			m.Mutable(fd).List().AppendMutable()
		case fd.Message() != nil:
			m.Mutable(fd)
		case fd.Kind() == protoreflect.StringKind:
			m.Set(fd, protoreflect.ValueOfString("x"))
		case fd.Kind() == protoreflect.DoubleKind:
			m.Set(fd, protoreflect.ValueOfFloat64(1))
		case fd.Kind() == protoreflect.Int32Kind:
			m.Set(fd, protoreflect.ValueOfInt32(1))
		}
	}
}

func TestShallowCopiesLeaveNoFieldBehind(t *testing.T) {
	c, b := new(bowrollv1.TakeoffCase), new(bowrollv1.Boosters)
	populate(c.ProtoReflect())
	populate(b.ProtoReflect())
	if got := new(caseMemory).shallowCase(c); !proto.Equal(got, c) {
		t.Errorf("case: %v, want %v", got, c)
	}
	if got := new(caseMemory).shallowBoosters(b); !proto.Equal(got, b) {
		t.Errorf("boosters: %v, want %v", got, b)
	}
}
