package rpc

import (
	"context"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Variants are what plans of the changed cycles would be.
func TestCompare(t *testing.T) {
	service := NewCycles(testValidator(t), testSnapshot(t), 2)
	req := &bowrollv1.CyclesCompareRequest{
		Cycle: testCycle(),
		Variants: []*bowrollv1.CycleVariant{
			{Id: "as-is"},
			{Id: "more", Lots: []*bowrollv1.LotCount{{Lot: "lot-02", UsableCount: proto.Int32(12)}}},
			{Id: "calm", NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(292), SpeedMps: proto.Float64(1)}},
			{Id: "strict", Policy: &bowrollv1.Policy{RunFactor: proto.Float64(1.3)}},
		},
		SpeedSweep: &bowrollv1.SpeedSweep{LeastMps: proto.Float64(4), GreatestMps: proto.Float64(12), StepMps: proto.Float64(2)},
	}
	out, err := service.Compare(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	more := testCycle()
	more.Lots[1].UsableCount = proto.Int32(12)
	calm := testCycle()
	calm.NaturalWind = req.GetVariants()[2].GetNaturalWind()
	strict := testCycle()
	strict.Policy = &bowrollv1.Policy{RunFactor: proto.Float64(1.3)}
	for i, cycle := range []*bowrollv1.Cycle{testCycle(), more, calm, strict} {
		alone := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: cycle}, 2)
		v := out.GetVariants()[i]
		if !proto.Equal(alone.GetObjective(), v.GetObjective()) || len(alone.GetLaunches()) != int(v.GetLaunchedCount()) {
			t.Errorf("%s: %v, by itself %v", v.GetId(), v.GetObjective(), alone.GetObjective())
		}
		if want := difference(v.GetObjective(), out.GetVariants()[0].GetObjective()); !proto.Equal(want, v.GetDifference()) {
			t.Errorf("%s: difference %v, want %v", v.GetId(), v.GetDifference(), want)
		}
	}
	if !slices.Equal(out.GetBest(), []string{"more"}) || len(out.GetWinners()) != 4 || !slices.Contains(out.GetWinners()[0].GetVariants(), "more") {
		t.Errorf("best %v, winners %v", out.GetBest(), out.GetWinners())
	}
	if len(out.GetCurve()) != 5 {
		t.Fatalf("curve %v", out.GetCurve())
	}
	for i, p := range out.GetCurve()[1:] {
		if p.GetShipSpeedMps() <= out.GetCurve()[i].GetShipSpeedMps() || p.GetHeadwindMps() <= out.GetCurve()[i].GetHeadwindMps() ||
			p.GetObjective().GetPriorityLaunched() < out.GetCurve()[i].GetObjective().GetPriorityLaunched() {
			t.Errorf("more speed launches less: %v after %v", p, out.GetCurve()[i])
		}
	}
	req.Variants[1].Id = "as-is"
	req.Variants[2].Lots = []*bowrollv1.LotCount{{Lot: "lot-77", UsableCount: proto.Int32(1)}}
	_, err = service.Compare(context.Background(), req)
	if got := fields(t, err); !slices.Contains(got, "variants[1].id unique") || !slices.Contains(got, "variants[2].lots[0].lot known") {
		t.Errorf("violations %q", got)
	}
}
