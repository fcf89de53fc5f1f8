package layout_test

import (
	"math/rand/v2"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/layout"
	"bowroll/proto/layout/layouttest"
)

// Every field of every message of the contract reads as the protobuf library
// reads it.
func TestFieldsReadAsTheLibraryReadsThem(t *testing.T) {
	types := layouttest.Types()
	if len(types) < 100 {
		t.Fatalf("only %d types", len(types))
	}
	r := rand.New(rand.NewPCG(1, 2))
	for _, of := range types {
		for range 20 {
			m := of.New()
			layouttest.Fill(r, m, 3, true)
			compare(t, m)
		}
	}
}

func TestNoMessageIsAnEmptyOne(t *testing.T) {
	l, s := layout.Of((*bowrollv1.Air)(nil))
	for _, f := range l.Fields {
		if _, present := f.Get(s); present {
			t.Errorf("%s is present", f.Descriptor.FullName())
		}
	}
	l, s = layout.Of(&bowrollv1.TakeoffsBatchComputeRequest{Cases: []*bowrollv1.TakeoffCase{nil}})
	list, _ := l.Fields[0].Get(s)
	if one := l.Fields[0].At(list, 0); l.Fields[0].Message.HasUnknown(one) {
		t.Error("an element that is nil")
	}
}

func compare(t *testing.T, m protoreflect.Message) {
	l, s := layout.Of(m.Interface())
	if most, size := l.MostBytes(s), proto.Size(m.Interface()); most < size || most > 30*size {
		t.Fatalf("%s takes %d bytes, and at most %d are said", l.Name, size, most)
	}
	if l.HasUnknown(s) != (len(m.GetUnknown()) > 0) || len(l.Fields) != m.Descriptor().Fields().Len() {
		t.Fatalf("%s: unknown fields or their number differ", m.Descriptor().FullName())
	}
	for i, f := range l.Fields {
		if f.Descriptor != m.Descriptor().Fields().Get(i) || i > 0 && l.ByNumber[i-1].Descriptor.Number() >= l.ByNumber[i].Descriptor.Number() {
			t.Fatalf("%s: order", f.Descriptor.FullName())
		}
		got, present := f.Get(s)
		if present != m.Has(f.Descriptor) {
			t.Fatalf("%s: present %v", f.Descriptor.FullName(), present)
		}
		if !present {
			continue
		}
		want := m.Get(f.Descriptor)
		switch {
		case f.List:
			for j := range got.Len() {
				same(t, f, f.At(got, j), want.List().Get(j))
			}
		default:
			same(t, f, got, want)
		}
	}
}

func same(t *testing.T, f *layout.Field, got layout.Value, want protoreflect.Value) {
	if f.Message != nil {
		if f.Message.Message(got) != want.Message().Interface() {
			t.Errorf("%s is another message", f.Descriptor.FullName())
		}
		return
	}
	if read := scalar(f.Kind, got); !read.Equal(want) {
		t.Errorf("%s is %v, want %v", f.Descriptor.FullName(), read, want)
	}
}

func scalar(kind protoreflect.Kind, v layout.Value) protoreflect.Value {
	switch kind {
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(v.Float())
	case protoreflect.FloatKind:
		return protoreflect.ValueOfFloat32(v.Float32())
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(v.String())
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes(v.Bytes())
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(v.Bool())
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(v.Int32()))
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(v.Int32())
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(v.Uint32())
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(v.Uint64())
	default:
		return protoreflect.ValueOfInt64(v.Int64())
	}
}
