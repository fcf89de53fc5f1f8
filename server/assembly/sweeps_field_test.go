package assembly_test

import (
	"strings"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func protoName(name string) protoreflect.Name { return protoreflect.Name(name) }

// setField sets a field of a case to a value as JSON has it.
func setField(c *bowrollv1.TakeoffCase, path string, v any) {
	m, steps := c.ProtoReflect(), strings.Split(path, ".")
	for i, step := range steps {
		fd := m.Descriptor().Fields().ByName(protoName(step))
		if i < len(steps)-1 {
			m = m.Mutable(fd).Message()
			continue
		}
		switch fd.Kind() {
		case protoreflect.StringKind:
			m.Set(fd, protoreflect.ValueOfString(v.(string)))
		case protoreflect.Int32Kind:
			m.Set(fd, protoreflect.ValueOfInt32(int32(v.(float64))))
		default:
			m.Set(fd, protoreflect.ValueOfFloat64(v.(float64)))
		}
	}
}

// violationsOf are the faults that a refusal names.
func violationsOf(err error) (list []*bowrollv1.Violation) {
	for _, detail := range status.Convert(err).Details() {
		if v, ok := detail.(*bowrollv1.Violations); ok {
			list = append(list, v.GetViolations()...)
		}
	}
	return list
}
