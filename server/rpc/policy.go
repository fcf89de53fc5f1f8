package rpc

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// defaultPolicy is what holds where neither the request nor the deck says
// otherwise. The values are the ones named in the contract's comments.
func defaultPolicy() *bowrollv1.Policy {
	return &bowrollv1.Policy{
		RunFactor:        proto.Float64(1.15), // 14 CFR 25.113(a)(2)
		HeadwindCredit:   proto.Float64(1),
		TailwindFactor:   proto.Float64(1),
		Legs:             bowrollv1.Legs_LEGS_EITHER,
		FailureFactor:    proto.Float64(1),
		RecognitionS:     proto.Float64(0.5),
		StopReactionS:    proto.Float64(1),
		Percentile:       proto.Float64(0.95),
		LeastProbability: proto.Float64(0),
		MarginalM:        proto.Float64(10),
		LeastSaving:      proto.Float64(0.05),
		PermittedSinkM:   proto.Float64(0),
		LeastGradient:    proto.Float64(0),
		ReleaseReactionS: proto.Float64(0.5),
	}
}

// policyUsed lays the given policies over the defaults: a value stated in an
// earlier one wins over a later one. Nil states nothing.
func policyUsed(first ...*bowrollv1.Policy) *bowrollv1.Policy {
	used := defaultPolicy()
	out := used.ProtoReflect()
	for i := len(first) - 1; i >= 0; i-- {
		first[i].ProtoReflect().Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			out.Set(fd, v)
			return true
		})
	}
	return used
}
