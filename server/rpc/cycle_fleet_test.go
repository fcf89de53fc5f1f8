package rpc

import (
	"context"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func fleet() *bowrollv1.Fleet {
	a, b := testCycle(), testCycle()
	a.Id, b.Id = "first", "second"
	b.StartTime = timestamppb.New(testStart.Add(30 * time.Minute))
	b.Lots = []*bowrollv1.Lot{proto.CloneOf(a.Lots[0])}
	b.Lots[0].Id, b.Lots[0].UsableCount = "lot-31", proto.Int32(0)
	pool := proto.CloneOf(a.Lots[1])
	pool.Id, pool.UsableCount = "lot-51", proto.Int32(6)
	return &bowrollv1.Fleet{
		Id: "both", Cycles: []*bowrollv1.Cycle{a, b},
		Pools: []*bowrollv1.Pool{{Id: "tender", Lots: []*bowrollv1.Lot{pool}, ReserveCount: proto.Int32(1)}},
		Transfers: []*bowrollv1.Transfer{
			{Origin: "tender", Destination: "second", MostCount: proto.Int32(4), ArriveTime: timestamppb.New(testStart)},
			{Origin: "first", Destination: "second", Lot: "lot-01", MostCount: proto.Int32(2), ArriveTime: timestamppb.New(testStart)},
		},
	}
}

// A fleet launches at least what its cycles would by themselves, draws on what
// transfers bring and no more, and keeps its reserves.
func TestFleet(t *testing.T) {
	service := NewCycles(testValidator(t), testSnapshot(t), 2)
	out, err := service.PlanFleet(context.Background(), &bowrollv1.CyclesPlanFleetRequest{Fleet: fleet(), IncludeLp: true})
	if err != nil {
		t.Fatal(err)
	}
	priority, units := int32(0), int32(0)
	for k, plan := range out.GetPlans() {
		alone := asked(t, &bowrollv1.CyclesPlanRequest{Cycle: fleet().GetCycles()[k]}, 2)
		t.Logf("%s: alone %v, in the fleet %v", plan.GetId(), alone.GetObjective(), plan.GetObjective())
		priority, units = priority+plan.GetObjective().GetPriorityLaunched(), units+plan.GetObjective().GetUnitsUsed()
	}
	if priority != out.GetObjective().GetPriorityLaunched() || units != out.GetObjective().GetUnitsUsed() || !out.GetOptimal() || len(out.GetLpStages()) != 4 {
		t.Errorf("fleet %v, its cycles sum to %d and %d units", out.GetObjective(), priority, units)
	}
	if out.GetTransfers()[0].GetUnitCount() == 0 || out.GetTransfers()[0].GetUnitCount() > 4 || out.GetTransfers()[1].GetUnitCount() > 2 {
		t.Errorf("transfers %v", out.GetTransfers())
	}
	for _, l := range out.GetLots() {
		if l.GetAfterCount() < 0 || l.GetAfterCount() != l.GetBeforeCount()-l.GetUsedCount() || l.GetLot() == "lot-51" && l.GetAfterCount() < 1 {
			t.Errorf("lot %v", l)
		}
	}
	// Too late is as good as never.
	late := fleet()
	for _, tr := range late.GetTransfers() {
		tr.ArriveTime = timestamppb.New(testStart.Add(24 * time.Hour))
	}
	none, err := service.PlanFleet(context.Background(), &bowrollv1.CyclesPlanFleetRequest{Fleet: late})
	if err != nil {
		t.Fatal(err)
	}
	for _, tr := range none.GetTransfers() {
		if tr.GetUnitCount() != 0 {
			t.Errorf("units that come too late are used: %v", tr)
		}
	}
	many, err := NewCycles(testValidator(t), testSnapshot(t), 7).PlanFleet(context.Background(), &bowrollv1.CyclesPlanFleetRequest{Fleet: fleet(), IncludeLp: true})
	if err != nil || !proto.Equal(out, many) {
		t.Errorf("the plan depends on the number of goroutines: %v", err)
	}
}

func TestBadFleetsNameEveryFault(t *testing.T) {
	f := fleet()
	f.Cycles[1].Id = "first"
	f.Cycles[0].Sorties[0].Flap = "full"
	f.Pools[0].Lots[0].Id = "lot-01"
	f.Transfers[0].Origin = "nobody"
	f.Transfers[1].Lot = "lot-77"
	_, err := NewCycles(testValidator(t), testSnapshot(t), 1).PlanFleet(context.Background(), &bowrollv1.CyclesPlanFleetRequest{Fleet: f})
	got := fields(t, err)
	for _, want := range []string{
		"fleet.cycles[1].id unique", "fleet.cycles[0].sorties[0].flap known", "fleet.pools[0].lots[0].id unique",
		"fleet.transfers[0].origin known", "fleet.transfers[1].lot known",
	} {
		if !slices.Contains(got, want) {
			t.Errorf("no %q in %q", want, got)
		}
	}
}
