package rpc

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Turning a batch round or cutting it in pieces changes no item's answer.
func TestBatchOrderAndSplitChangeNothing(t *testing.T) {
	count := 10000
	if testing.Short() {
		count = 500
	}
	rng := rand.New(rand.NewPCG(31, 1))
	cases := make([]*bowrollv1.TakeoffCase, count)
	for i := range cases {
		c := sample()
		c.GrossMassKg = proto.Float64(4700 + 1500*rng.Float64())
		c.HeadwindMps = proto.Float64(25*rng.Float64() - 3)
		c.Air.TemperatureC = proto.Float64(50*rng.Float64() - 10)
		c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(8 * rng.Float64())}
		if i%3 == 0 {
			c.Boosters = nil
		}
		cases[i] = c
	}
	service := NewTakeoffs(testValidator(t), testSnapshot(t), 2)
	answers := func(cases []*bowrollv1.TakeoffCase) []*bowrollv1.TakeoffItem {
		out, err := service.BatchCompute(context.Background(), &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases})
		if err != nil {
			t.Fatal(err)
		}
		return out.GetItems()
	}
	whole := answers(cases)
	turned := slices.Clone(cases)
	slices.Reverse(turned)
	round := answers(turned)
	cut := rng.IntN(count)
	pieces := slices.Concat(answers(cases[:cut+1]), answers(cases[cut:])[1:])
	for i := range whole {
		if !proto.Equal(whole[i].GetTakeoff(), round[count-1-i].GetTakeoff()) {
			t.Fatalf("case %d answers otherwise when the batch is turned round", i)
		}
		if !proto.Equal(whole[i].GetTakeoff(), pieces[i].GetTakeoff()) {
			t.Fatalf("case %d answers otherwise when the batch is cut", i)
		}
	}
}
