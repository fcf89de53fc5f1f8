package sweep

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A field of a case that an axis may set: the way that leads to it.
type path []protoreflect.FieldDescriptor

// fields are all of them by their paths, e.g. "air.temperature_c".
type fields map[string]path

// fieldsOfCase walks the case's messages. Lists are left out: what is in one has
// no path of its own.
func fieldsOfCase() fields {
	found := fields{}
	var walk func(m protoreflect.MessageDescriptor, name string, way path, above []protoreflect.FullName)
	walk = func(m protoreflect.MessageDescriptor, name string, way path, above []protoreflect.FullName) {
		if slices.Contains(above, m.FullName()) {
			return
		}
		above = append(slices.Clone(above), m.FullName())
		for i := range m.Fields().Len() {
			fd := m.Fields().Get(i)
			if fd.IsList() || fd.IsMap() {
				continue
			}
			at, full := append(slices.Clone(way), fd), name+string(fd.Name())
			switch fd.Kind() {
			case protoreflect.MessageKind:
				if strings.HasPrefix(string(fd.Message().FullName()), "bowroll.v1.") {
					walk(fd.Message(), full+".", at, above)
				}
			case protoreflect.DoubleKind, protoreflect.Int32Kind, protoreflect.StringKind, protoreflect.EnumKind:
				if full != "id" && !outputOnly(fd) {
					found[full] = at
				}
			}
		}
	}
	walk((&bowrollv1.TakeoffCase{}).ProtoReflect().Descriptor(), "", nil, nil)
	return found
}

// names are the paths in order.
func (f fields) names() []string {
	list := make([]string, 0, len(f))
	for name := range f {
		list = append(list, name)
	}
	slices.Sort(list)
	return list
}

func (p path) leaf() protoreflect.FieldDescriptor { return p[len(p)-1] }

// worded tells whether the field holds a name or an enumeration.
func (p path) worded() bool {
	kind := p.leaf().Kind()
	return kind == protoreflect.StringKind || kind == protoreflect.EnumKind
}

// set sets the field of a case, making the messages on the way.
func (p path) set(c *bowrollv1.TakeoffCase, v protoreflect.Value) {
	m := c.ProtoReflect()
	for _, fd := range p[:len(p)-1] {
		m = m.Mutable(fd).Message()
	}
	m.Set(p.leaf(), v)
}

// value is the field's form of an axis's value.
func (p path) value(a *Axis, v float64) protoreflect.Value {
	switch p.leaf().Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(a.Words[int(v)])
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(p.leaf().Enum().Values().ByName(protoreflect.Name(a.Words[int(v)])).Number())
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(int32(v))
	}
	return protoreflect.ValueOfFloat64(v)
}
