package rpc

import (
	"math"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// plainZeros makes every minus zero in a message zero: they are one number, and
// must give one answer and one digest.
func plainZeros(m protoreflect.Message) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.IsMap():
		case fd.IsList():
			list := v.List()
			for i := range list.Len() {
				switch {
				case fd.Message() != nil:
					plainZeros(list.Get(i).Message())
				case minusZero(fd, list.Get(i)):
					list.Set(i, protoreflect.ValueOfFloat64(0))
				}
			}
		case fd.Message() != nil:
			plainZeros(v.Message())
		case minusZero(fd, v):
			m.Set(fd, protoreflect.ValueOfFloat64(0))
		}
		return true
	})
}

func minusZero(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
	return fd.Kind() == protoreflect.DoubleKind && v.Float() == 0 && math.Signbit(v.Float())
}
