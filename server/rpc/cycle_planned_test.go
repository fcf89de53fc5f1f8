package rpc

import (
	"context"
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Every launch of a plan is fired as its own take-off would be planned.
func TestCyclePlansOnPlannedFirings(t *testing.T) {
	c := testCycle()
	out := plan(t, c, 2)
	fired := 0
	for _, l := range out.GetLaunches() {
		if len(l.GetDraws()) == 0 {
			continue
		}
		fired++
		a := l.GetTakeoff()
		p := a.GetPlannedFiring()
		if p == nil || !a.GetFiring().GetSearched() {
			t.Fatalf("%s: planned firing %v, firing %v", l.GetSortie(), p, a.GetFiring())
		}
		if p.GetPlanned().GetMode() != a.GetFiring().GetMode() || p.GetPlanned().GetDelayS() != a.GetFiring().GetDelayS() {
			t.Errorf("%s: fired %v, planned %v", l.GetSortie(), a.GetFiring(), p.GetPlanned())
		}
		// Other draws chose it, so that the nominal best may come out a little ahead.
		if p.GetPlanned().GetRunPercentileM() > p.GetNominalBest().GetRunPercentileM()+1 && p.GetNominalBest().GetCovered() {
			t.Errorf("%s: %g m at the percentile, the nominal best has %g m", l.GetSortie(), p.GetPlanned().GetRunPercentileM(), p.GetNominalBest().GetRunPercentileM())
		}
		if a.GetMarginM() < 0 {
			t.Errorf("%s: launched with %g m to spare", l.GetSortie(), a.GetMarginM())
		}
	}
	if fired == 0 {
		t.Error("no launch has boosters")
	}
}

// How well inputs are known reaches the firing of every fit.
func TestCycleDispersionsReachTheFits(t *testing.T) {
	c := testCycle()
	c.Dispersions = &bowrollv1.Dispersions{ReactionSigmaS: proto.Float64(1.1), UnitThrustSigma: proto.Float64(0.05)}
	seen := false
	for _, l := range plan(t, c, 2).GetLaunches() {
		if p := l.GetTakeoff().GetPlannedFiring(); p != nil {
			seen = true
			if d := p.GetDispersions(); d.GetReactionSigmaS() != 1.1 || d.GetUnitThrustSigma() != 0.05 || d.GetUnitBurnTimeSigma() != 0.018 {
				t.Errorf("%s: dispersions %v", l.GetSortie(), d)
			}
		}
	}
	if !seen {
		t.Error("no firing was planned")
	}
}

// largeCycle is a queue of many sorties with many lots that differ in grain
// temperature, so that hardly two fits are alike.
func largeCycle(sorties, lots int) *bowrollv1.Cycle {
	c := testCycle()
	types := []string{"halbrook", "corvane", "wendrake", "ostrel"}
	masses := []float64{4700, 5300, 12500, 45000}
	c.Crews, c.Sorties, c.Lots = nil, nil, nil
	for i := range sorties {
		k := i % len(types)
		c.Sorties = append(c.Sorties, &bowrollv1.Sortie{
			Id: fmt.Sprintf("sortie-%d", i+1), AircraftType: "aircraftTypes/" + types[k], Flap: "takeoff",
			GrossMassKg: proto.Float64(masses[k] * (1 + 0.003*float64(i))), Spot: []string{"s5", "s6", "s7", "s8"}[k],
			Priority: proto.Int32(int32(10 + 7*i%13)), LaunchS: proto.Float64(1800 + 180*float64(i)),
		})
	}
	for i := range lots {
		c.Lots = append(c.Lots, &bowrollv1.Lot{
			Id: fmt.Sprintf("lot-%02d", i+1), BoosterType: "boosterTypes/" + []string{"emberlin-6", "gaunt-12"}[i%2], UsableCount: proto.Int32(10),
			GrainTemperatureC: proto.Float64(15 + float64(i)), ExpireTime: timestamppb.New(testStart.AddDate(0, 1+i, 0)),
		})
	}
	return c
}

func BenchmarkPlanCycle(b *testing.B) {
	for _, size := range [][2]int{{12, 4}, {40, 6}} {
		b.Run(fmt.Sprintf("%dx%d", size[0], size[1]), func(b *testing.B) {
			c := largeCycle(size[0], size[1])
			service := NewCycles(testValidator(b), testSnapshot(b), 2)
			fits := 0
			for b.Loop() {
				out, err := service.Plan(context.Background(), &bowrollv1.CyclesPlanRequest{Cycle: c, IncludeOptions: true})
				if err != nil {
					b.Fatal(err)
				}
				fits = 0
				for _, l := range out.GetLaunches() {
					fits += len(l.GetOptions())
				}
				for _, h := range out.GetHeld() {
					fits += len(h.GetOptions())
				}
			}
			b.ReportMetric(float64(fits), "fits")
		})
	}
}
