package rpc

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// notFinite is the path of the first number of a message that is none, or "".
func notFinite(m protoreflect.Message) (path string) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		name := string(fd.Name())
		bad := func(v protoreflect.Value, at string) {
			switch {
			case fd.Kind() == protoreflect.DoubleKind && (math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0)):
				path = fmt.Sprintf("%s is %v", at, v.Float())
			case fd.Message() != nil:
				if inner := notFinite(v.Message()); inner != "" {
					path = at + "." + inner
				}
			}
		}
		switch {
		case fd.IsMap():
		case fd.IsList():
			for i := range v.List().Len() {
				if path == "" {
					bad(v.List().Get(i), fmt.Sprintf("%s[%d]", name, i))
				}
			}
		default:
			bad(v, name)
		}
		return path == ""
	})
	return path
}

// FuzzCompute sends any bytes as a request to the service itself: whatever they
// are, it answers or refuses, and every number of an answer is one.
func FuzzCompute(f *testing.F) {
	seed := func(c *bowrollv1.TakeoffCase, sections ...bowrollv1.Section) {
		data, err := proto.Marshal(&bowrollv1.TakeoffsComputeRequest{Case: c, Sections: sections})
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	seed(sample())
	seed(sample(), every()...)
	seed(armed(), safetySections()...)
	inline := armed()
	aircraft, _ := testSnapshot(f).AircraftType("aircraftTypes/wendrake")
	unit, _ := testSnapshot(f).BoosterType("boosterTypes/gaunt-12")
	inline.AircraftType, inline.Aircraft, inline.GrossMassKg = "", proto.CloneOf(aircraft), proto.Float64(11000)
	inline.Boosters.BoosterType, inline.Boosters.Type = "", proto.CloneOf(unit)
	seed(inline, bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_BOX, bowrollv1.Section_SECTION_WORTH)
	natural := sample()
	natural.HeadwindMps = nil
	natural.NaturalWind = &bowrollv1.NaturalWind{FromDeg: proto.Float64(30), SpeedMps: proto.Float64(8), GustMps: proto.Float64(12), DirectionSpreadDeg: proto.Float64(15)}
	natural.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(10), SpeedMps: proto.Float64(9)}
	natural.Boosters.Duds = proto.Int32(1)
	seed(natural, bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_COMMIT, bowrollv1.Section_SECTION_CHECK_LINE, bowrollv1.Section_SECTION_FRICTION)
	seed(nil)
	f.Add([]byte{0xff, 0x01})

	service := NewTakeoffs(testValidator(f), testSnapshot(f), 1)
	f.Fuzz(func(t *testing.T, data []byte) {
		request := new(bowrollv1.TakeoffsComputeRequest)
		if proto.Unmarshal(data, request) != nil {
			return
		}
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		answer, err := service.Compute(ctx, request)
		if err != nil {
			switch code := status.Code(err); code {
			case codes.InvalidArgument, codes.DeadlineExceeded:
			default:
				t.Fatalf("%v: %v", code, err)
			}
			return
		}
		if bad := notFinite(answer.ProtoReflect()); bad != "" {
			t.Fatalf("%s in the answer to %v", bad, request)
		}
		if answer.GetOutcome() == bowrollv1.Outcome_OUTCOME_UNSPECIFIED || answer.GetLimiting() == "" || answer.GetProvenance() == nil {
			t.Fatalf("an answer without outcome, sentence or source: %v", answer)
		}
	})
}

// numbersOf lists the numbers that a message holds, each with the way to set it.
func numbersOf(m protoreflect.Message) (set []func(change func(float64) float64)) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.IsMap():
		case fd.IsList():
			list := m.Mutable(fd).List()
			for i := range list.Len() {
				if fd.Message() != nil {
					set = append(set, numbersOf(list.Get(i).Message())...)
				} else if fd.Kind() == protoreflect.DoubleKind {
					set = append(set, func(change func(float64) float64) {
						list.Set(i, protoreflect.ValueOfFloat64(change(list.Get(i).Float())))
					})
				}
			}
		case fd.Message() != nil:
			set = append(set, numbersOf(v.Message())...)
		case fd.Kind() == protoreflect.DoubleKind:
			set = append(set, func(change func(float64) float64) {
				m.Set(fd, protoreflect.ValueOfFloat64(change(m.Get(fd).Float())))
			})
		}
		return true
	})
	return set
}

// Sound requests with numbers pulled to where they hardly make sense are
// answered or refused, and every number of an answer is one.
func TestComputeOnNumbersAtTheirEnds(t *testing.T) {
	service := NewTakeoffs(testValidator(t), testSnapshot(t), 1)
	aircraft, _ := service.resolver.catalog.AircraftType("aircraftTypes/wendrake")
	unit, _ := service.resolver.catalog.BoosterType("boosterTypes/emberlin-6")
	rng := rand.New(rand.NewPCG(11, 12))
	rounds, answered := 1500, 0
	if testing.Short() {
		rounds = 200
	}
	sections := slices.Concat(every(), safetySections(), []bowrollv1.Section{
		bowrollv1.Section_SECTION_COMMIT, bowrollv1.Section_SECTION_CHECK_LINE, bowrollv1.Section_SECTION_FRICTION,
	})
	for range rounds {
		c := armed()
		c.AircraftType, c.Aircraft, c.GrossMassKg = "", proto.CloneOf(aircraft), proto.Float64(11000)
		c.Boosters.BoosterType, c.Boosters.Type = "", proto.CloneOf(unit)
		c.Aircraft.LeastMassKg, c.Aircraft.GreatestMassKg = nil, nil
		c.Policy = &bowrollv1.Policy{PermittedSinkM: proto.Float64(3), LeastGradient: proto.Float64(0.01), HeadwindCredit: proto.Float64(1)}
		if rng.IntN(2) == 0 {
			c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(3)}
		}
		set := numbersOf(c.ProtoReflect())
		for range 1 + rng.IntN(4) {
			set[rng.IntN(len(set))](func(was float64) float64 {
				switch rng.IntN(7) {
				case 0:
					return 0
				case 1:
					return was * 1e-3
				case 2:
					return was * 1000
				case 3:
					return -was
				case 4:
					return 1e-300
				}
				return was * math.Exp(2*rng.NormFloat64())
			})
		}
		request := &bowrollv1.TakeoffsComputeRequest{Case: c}
		for _, s := range sections {
			if rng.IntN(3) == 0 {
				request.Sections = append(request.Sections, s)
			}
		}
		answer, err := service.Compute(context.Background(), request)
		if err != nil {
			if status.Code(err) != codes.InvalidArgument {
				t.Fatalf("%v in %v", err, request)
			}
			continue
		}
		answered++
		if bad := notFinite(answer.ProtoReflect()); bad != "" {
			t.Errorf("%s in the answer to %v", bad, request)
		}
	}
	if answered < rounds/10 {
		t.Errorf("only %d of %d are answered", answered, rounds)
	}
	t.Logf("%d of %d answered", answered, rounds)
}
