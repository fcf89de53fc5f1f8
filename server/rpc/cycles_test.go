package rpc

import (
	"context"
	"fmt"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

var testStart = time.Date(2041, 3, 7, 5, 30, 0, 0, time.UTC)

// testCycle is a queue that the stock cannot serve in full.
func testCycle() *bowrollv1.Cycle {
	c := &bowrollv1.Cycle{
		Id: "noon", Deck: "sites/varrow/decks/main", StartTime: timestamppb.New(testStart),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(25)},
		NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(292), SpeedMps: proto.Float64(5)},
		Crews: &bowrollv1.Crews{
			TeamCount: proto.Int32(2), FitTimeS: proto.Float64(480),
			HoldLeastS: proto.Float64(300), HoldGreatestS: proto.Float64(3600),
		},
	}
	for i := range 8 {
		c.Sorties = append(c.Sorties, &bowrollv1.Sortie{
			Id: fmt.Sprintf("birch-%d", i+1), AircraftType: "aircraftTypes/halbrook", Flap: "takeoff",
			GrossMassKg: proto.Float64(4700 + 150*float64(i)), Spot: []string{"s5", "s6"}[i%2],
			Priority: proto.Int32(int32(10 + 7*i%13)), LaunchS: proto.Float64(1800 + 180*float64(i)),
		})
	}
	for i, count := range []int32{3, 4} {
		c.Lots = append(c.Lots, &bowrollv1.Lot{
			Id: fmt.Sprintf("lot-%02d", i+1), BoosterType: "boosterTypes/emberlin-6", UsableCount: proto.Int32(count),
			GrainTemperatureC: proto.Float64(20 + float64(i)), ExpireTime: timestamppb.New(testStart.AddDate(0, 1+i, 0)),
		})
	}
	return c
}

func plan(t *testing.T, c *bowrollv1.Cycle, workers int) *bowrollv1.CyclePlan {
	t.Helper()
	out, err := NewCycles(testValidator(t), testSnapshot(t), workers).Plan(context.Background(),
		&bowrollv1.CyclesPlanRequest{Cycle: c, IncludeOptions: true})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// What a plan says adds up: every sortie once, stock kept, objective recomputed
// from the launches, every launch inside its run, every held sortie with what
// would launch it.
func TestPlanAddsUp(t *testing.T) {
	c := testCycle()
	out := plan(t, c, 2)
	if !out.GetOptimal() || out.GetGap() != 0 {
		t.Errorf("not proven: %v, gap %v", out.GetProof(), out.GetGap())
	}
	if len(out.GetLaunches())+len(out.GetHeld()) != len(c.GetSorties()) {
		t.Errorf("%d launches and %d held of %d sorties", len(out.GetLaunches()), len(out.GetHeld()), len(c.GetSorties()))
	}
	if len(out.GetLaunches()) == 0 || len(out.GetHeld()) == 0 {
		t.Fatal("the queue was meant to be served in part")
	}
	priority, units := int32(0), int32(0)
	used := map[string]int32{}
	for _, l := range out.GetLaunches() {
		priority += c.GetSorties()[l.GetOrder()-1].GetPriority()
		for _, d := range l.GetDraws() {
			used[d.GetLot()] += d.GetUnitCount()
			units += d.GetUnitCount()
			if int(d.GetUnitCount()) != len(d.GetStations()) {
				t.Errorf("%s: %d units on stations %v", l.GetSortie(), d.GetUnitCount(), d.GetStations())
			}
		}
		if l.GetTakeoff().GetMarginM() < 0 || !goes(l.GetTakeoff().GetOutcome()) || !l.GetTakeoff().GetCovered() && len(l.GetDraws()) > 0 {
			t.Errorf("%s goes although it should not: %s", l.GetSortie(), l.GetTakeoff().GetLimiting())
		}
	}
	if priority != out.GetObjective().GetPriorityLaunched() || units != out.GetObjective().GetUnitsUsed() {
		t.Errorf("objective %v, recomputed priority %d and %d units", out.GetObjective(), priority, units)
	}
	for _, l := range out.GetLots() {
		if l.GetUsedCount() != used[l.GetLot()] || l.GetAfterCount() != l.GetBeforeCount()-l.GetUsedCount() || l.GetAfterCount() < 0 {
			t.Errorf("stock of %s: %v", l.GetLot(), l)
		}
	}
	for _, h := range out.GetHeld() {
		if h.GetText() == "" || len(h.GetReleases()) == 0 {
			t.Errorf("%s is held and nothing says what would launch it: %v", h.GetSortie(), h)
		}
	}
}

// The same request gives the same answer on any number of goroutines.
func TestPlanIsDeterministic(t *testing.T) {
	if one, many := plan(t, testCycle(), 1), plan(t, testCycle(), 7); !proto.Equal(one, many) {
		t.Error("the plan depends on the number of goroutines")
	}
}

// What is said to launch a sortie held for stock does launch it.
func TestReleaseByStockIsTrue(t *testing.T) {
	c := testCycle()
	out := plan(t, c, 2)
	for _, h := range out.GetHeld() {
		if h.GetReason() != bowrollv1.HoldReason_HOLD_REASON_STOCK {
			continue
		}
		more := testCycle()
		more.Lots[0].UsableCount = proto.Int32(more.Lots[0].GetUsableCount() + int32(h.GetReleases()[0].GetChange()))
		more.Lots[1].UsableCount = proto.Int32(more.Lots[1].GetUsableCount() + int32(h.GetReleases()[0].GetChange()))
		if after := plan(t, more, 2); after.GetObjective().GetPriorityLaunched() <= out.GetObjective().GetPriorityLaunched() {
			t.Errorf("%s: %v launched nothing more", h.GetSortie(), h.GetReleases()[0])
		}
	}
}

// An empty stock is an ordinary case (planner case D38): everyone is answered,
// and who is held is told how many units and how much wind would do.
func TestEmptyStock(t *testing.T) {
	c := testCycle()
	for _, l := range c.GetLots() {
		l.UsableCount = proto.Int32(0)
	}
	out := plan(t, c, 2)
	if len(out.GetLaunches())+len(out.GetHeld()) != len(c.GetSorties()) || out.GetObjective().GetUnitsUsed() != 0 {
		t.Fatalf("objective %v", out.GetObjective())
	}
	for _, h := range out.GetHeld() {
		if len(h.GetReleases()) == 0 {
			t.Errorf("%s: no release", h.GetSortie())
		}
	}
}

func TestCycleFaultsAllAtOnce(t *testing.T) {
	c := testCycle()
	c.Sorties[1].Id = c.Sorties[0].Id
	c.Sorties[2].Flap = "full"
	c.Sorties[3].AircraftType = "aircraftTypes/none"
	c.Sorties[4].LaunchS = proto.Float64(0)
	c.Sorties[5].PermittedCounts = []int32{3}
	c.Lots[1].BoosterType = "boosterTypes/none"
	_, err := NewCycles(testValidator(t), testSnapshot(t), 1).Plan(context.Background(), &bowrollv1.CyclesPlanRequest{Cycle: c})
	if status.Code(err) != codes.InvalidArgument {
		t.Fatalf("code %v: %v", status.Code(err), err)
	}
	fields := map[string]bool{}
	for _, d := range status.Convert(err).Details() {
		if vs, ok := d.(*bowrollv1.Violations); ok {
			for _, v := range vs.GetViolations() {
				fields[v.GetField()] = true
			}
		}
	}
	for _, want := range []string{
		"cycle.sorties[1].id", "cycle.sorties[2].flap", "cycle.sorties[3].aircraft_type", "cycle.sorties[4].launch_s",
		"cycle.sorties[5].permitted_counts[0]", "cycle.lots[1].booster_type",
	} {
		if !fields[want] {
			t.Errorf("no fault for %s in %v", want, fields)
		}
	}
}
