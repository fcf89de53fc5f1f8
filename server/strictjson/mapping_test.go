package strictjson

import (
	"math"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/wirejson"
	"bowroll/testdata/mutate"
)

// requests and answers of several shapes, to be filled at random.
var shapes = []proto.Message{
	&bowrollv1.TakeoffsBatchComputeRequest{}, &bowrollv1.TakeoffsBatchComputeResponse{},
	&bowrollv1.CyclesPlanRequest{}, &bowrollv1.CyclePlan{}, &bowrollv1.AircraftType{}, &bowrollv1.ModelCheckResponse{},
}

// fill sets about half of the fields of m.
func fill(t *rapid.T, m protoreflect.Message, depth int) {
	if m.Descriptor().FullName() == "google.protobuf.Timestamp" {
		fields := m.Descriptor().Fields()
		m.Set(fields.ByName("seconds"), protoreflect.ValueOfInt64(rapid.Int64Range(0, 4e9).Draw(t, "seconds")))
		m.Set(fields.ByName("nanos"), protoreflect.ValueOfInt32(rapid.Int32Range(0, 999999999).Draw(t, "nanos")))
		return
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if depth == 0 && fd.Message() != nil || rapid.Bool().Draw(t, "absent") {
			continue
		}
		switch {
		case fd.IsList():
			list := m.Mutable(fd).List()
			for range rapid.IntRange(1, 3).Draw(t, "length") {
				if fd.Message() != nil {
					fill(t, list.AppendMutable().Message(), depth-1)
				} else {
					list.Append(scalarValue(t, fd))
				}
			}
		case fd.Message() != nil:
			fill(t, m.Mutable(fd).Message(), depth-1)
		default:
			m.Set(fd, scalarValue(t, fd))
		}
	}
}

func scalarValue(t *rapid.T, fd protoreflect.FieldDescriptor) protoreflect.Value {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		f := rapid.Float64().Filter(func(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) })
		return protoreflect.ValueOfFloat64(f.Draw(t, "double"))
	case protoreflect.Int32Kind:
		return protoreflect.ValueOfInt32(rapid.Int32().Draw(t, "int32"))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(rapid.Bool().Draw(t, "bool"))
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(rapid.String().Draw(t, "string"))
	case protoreflect.EnumKind:
		values := fd.Enum().Values()
		return protoreflect.ValueOfEnum(values.Get(rapid.IntRange(0, values.Len()-1).Draw(t, "enum")).Number())
	}
	t.Fatalf("%s: no generator for %s", fd.FullName(), fd.Kind())
	return protoreflect.Value{}
}

// TestTheMappingIsTheStandardOne holds both directions against the library's
// own mapping: each reads what the other writes.
func TestTheMappingIsTheStandardOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := proto.Clone(rapid.SampledFrom(shapes).Draw(t, "shape"))
		fill(t, m.ProtoReflect(), 4)

		ours, err := wirejson.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		read := m.ProtoReflect().New().Interface()
		if err := protojson.Unmarshal(ours, read); err != nil || !proto.Equal(m, read) {
			t.Fatalf("the library reads our JSON as %v, %v", read, err)
		}
		for _, snake := range []bool{true, false} {
			theirs, err := protojson.MarshalOptions{UseProtoNames: snake}.Marshal(m)
			if err != nil {
				t.Fatal(err)
			}
			for _, text := range [][]byte{ours, theirs} {
				read := m.ProtoReflect().New().Interface()
				faults, err := Unmarshal(text, read)
				if err != nil || len(faults) > 0 || !proto.Equal(m, read) {
					t.Fatalf("we read %s as %v, %v %v", text, read, faults, err)
				}
			}
		}
	})
}

func FuzzUnmarshal(f *testing.F) {
	f.Add([]byte(sound))
	f.Add([]byte(`{"case":{"air":{"temperature_c":"NaN"},"Case":{}},"sections":[1,"x",null]}`))
	f.Add([]byte(`{"case":{"boosters":{"unit_temperatures":[{},{"station":"\ud800"}]}}}`))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		m := &bowrollv1.TakeoffsComputeRequest{}
		faults, err := Unmarshal(data, m)
		if err != nil || len(faults) > 0 {
			return
		}
		// What we take without a fault, the library takes as the same message.
		theirs := &bowrollv1.TakeoffsComputeRequest{}
		if err := protojson.Unmarshal(data, theirs); err != nil {
			t.Fatalf("we take what the library refuses: %v", err)
		}
		if !proto.Equal(m, theirs) {
			t.Fatalf("we read %v, the library %v", m, theirs)
		}
		again, err := wirejson.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		read := &bowrollv1.TakeoffsComputeRequest{}
		if faults, err := Unmarshal(again, read); err != nil || len(faults) > 0 || !proto.Equal(m, read) {
			t.Fatalf("%s reads back as %v, %v %v", again, read, faults, err)
		}
	})
}
