package rpc

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

func windService(t testing.TB, workers int) *WindLimits {
	return NewWindLimits(testValidator(t), testSnapshot(t), workers)
}

// inWind is the take-off of a case in a wind as its deck feels it, from a
// direction off the axis (the deck's axis lies on the keel), failures judged.
func inWind(t *testing.T, service *Takeoffs, c *bowrollv1.TakeoffCase, fromDeg, speedMPS float64) *bowrollv1.Takeoff {
	t.Helper()
	c = proto.CloneOf(c)
	c.HeadwindMps, c.CrosswindMps = nil, nil
	c.DeckWind = &bowrollv1.DeckWind{RelativeFromDeg: &fromDeg, SpeedMps: &speedMPS}
	out, err := service.Compute(context.Background(), &bowrollv1.TakeoffsComputeRequest{
		Case: c, Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_FAILURES},
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Each end of each direction of an envelope is where single take-offs change: in
// a little more than the least wind the load may go, in a little less it may not,
// and what binds is what holds it.
func TestEnvelopeReproducesSingleTakeoffs(t *testing.T) {
	service, single := windService(t, 1), NewTakeoffs(testValidator(t), testSnapshot(t), 1)
	credited := sample()
	credited.Policy = &bowrollv1.Policy{HeadwindCredit: proto.Float64(0.5), TailwindFactor: proto.Float64(1.5)}
	credited.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(40), SpeedMps: proto.Float64(9)}
	heavy := sample()
	heavy.GrossMassKg, heavy.Spot = proto.Float64(5600), "s4"
	held := map[string]bowrollv1.Outcome{
		"headwind": bowrollv1.Outcome_OUTCOME_RUN_TOO_LONG, "crosswind": bowrollv1.Outcome_OUTCOME_CROSSWIND_EXCEEDED,
		"tailwind": bowrollv1.Outcome_OUTCOME_TAILWIND_EXCEEDED, "ceiling": bowrollv1.Outcome_OUTCOME_DECK_CEILING_EXCEEDED,
	}
	for i, c := range []*bowrollv1.TakeoffCase{sample(), credited, heavy} {
		for _, firing := range []*bowrollv1.Firing{
			{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST},
			{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(0.4)},
		} {
			c.Boosters.Firing = firing
			plan := bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED
			if firing.DelayS != nil {
				plan = bowrollv1.FiringPlan_FIRING_PLAN_FIXED
			}
			out, err := service.Compute(context.Background(), &bowrollv1.WindLimitsComputeRequest{
				Case: c, FiringPlan: plan, DirectionStepDeg: proto.Float64(5),
			})
			if err != nil {
				t.Fatal(err)
			}
			limit := out.GetLimits()[0]
			if len(limit.GetEnvelope()) != 72 {
				t.Fatalf("case %d: %d directions: %s", i, len(limit.GetEnvelope()), limit.GetText())
			}
			open := 0
			for _, p := range limit.GetEnvelope() {
				name := fmt.Sprintf("case %d %v, %v degrees", i, plan, p.GetRelativeFromDeg())
				if !p.GetOpen() {
					if got := inWind(t, single, c, p.GetRelativeFromDeg(), 12).GetOutcome(); goes(got) {
						t.Errorf("%s: closed, yet %v in 12 m/s", name, got)
					}
					continue
				}
				open++
				const little = 1e-4
				if got := inWind(t, single, c, p.GetRelativeFromDeg(), p.GetLeastMps()+little); !goes(got.GetOutcome()) {
					t.Errorf("%s: %v in the least wind of %v", name, got.GetLimiting(), p.GetLeastMps())
				}
				if got := inWind(t, single, c, p.GetRelativeFromDeg(), p.GetGreatestMps()-little); !goes(got.GetOutcome()) {
					t.Errorf("%s: %v in the greatest wind of %v", name, got.GetLimiting(), p.GetGreatestMps())
				}
				over := inWind(t, single, c, p.GetRelativeFromDeg(), p.GetGreatestMps()+little)
				if goes(over.GetOutcome()) || !found(over, held[p.GetGreatestBinds()]) {
					t.Errorf("%s: above %v it is %v, said to be bound by %s", name, p.GetGreatestMps(), over.GetOutcome(), p.GetGreatestBinds())
				}
				if p.GetLeastBinds() == "" {
					continue
				}
				under := inWind(t, single, c, p.GetRelativeFromDeg(), p.GetLeastMps()-little)
				if goes(under.GetOutcome()) || !found(under, limit.GetBinds()) {
					t.Errorf("%s: below %v it is %v, said to be bound by %v", name, p.GetLeastMps(), under.GetOutcome(), limit.GetBinds())
				}
			}
			if open < 5 {
				t.Errorf("case %d %v: only %d directions open: %s", i, plan, open, limit.GetText())
			}
		}
	}
}

// found tells whether an outcome is among the findings.
func found(out *bowrollv1.Takeoff, o bowrollv1.Outcome) bool {
	for _, f := range out.GetFindings() {
		if f.GetOutcome() == o {
			return true
		}
	}
	return false
}

// A case need not give a wind where winds are asked for.
func TestWindLimitsNeedNoWind(t *testing.T) {
	with, without := sample(), sample()
	without.HeadwindMps = nil
	var texts []string
	for _, c := range []*bowrollv1.TakeoffCase{with, without} {
		out, err := windService(t, 1).Compute(context.Background(), &bowrollv1.WindLimitsComputeRequest{
			Case: c, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED, UnitCounts: []int32{0, 2, 4},
		})
		if err != nil {
			t.Fatal(err)
		}
		var text []string
		for _, l := range out.GetLimits() {
			text = append(text, l.GetText())
		}
		texts = append(texts, strings.Join(text, " "))
	}
	if texts[0] != texts[1] {
		t.Errorf("%s\n%s", texts[0], texts[1])
	}
	_, err := windService(t, 1).Compute(context.Background(), &bowrollv1.WindLimitsComputeRequest{
		Case: without, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_FIXED,
	})
	if err == nil || !strings.Contains(fmt.Sprint(err), "case.boosters.firing.mode") {
		t.Errorf("the best firing of no wind is held: %v", err)
	}
}

// tableStream keeps what is sent.
type tableStream struct {
	grpc.ServerStream
	ctx      context.Context
	rows     []*bowrollv1.WindTableRow
	progress []*bowrollv1.WindTableProgress
	summary  *bowrollv1.WindTableSummary
}

func (s *tableStream) Context() context.Context { return s.ctx }

func (s *tableStream) Send(m *bowrollv1.WindLimitsTabulateResponse) error {
	switch part := m.GetPart().(type) {
	case *bowrollv1.WindLimitsTabulateResponse_Item:
		s.rows = append(s.rows, part.Item)
	case *bowrollv1.WindLimitsTabulateResponse_Progress:
		s.progress = append(s.progress, part.Progress)
	case *bowrollv1.WindLimitsTabulateResponse_Summary:
		s.summary = part.Summary
	}
	return nil
}

func tabulate(t testing.TB, workers int, req *bowrollv1.WindLimitsTabulateRequest) *tableStream {
	t.Helper()
	return tabulateOn(t, windService(t, workers), req)
}

func tabulateOn(t testing.TB, service *WindLimits, req *bowrollv1.WindLimitsTabulateRequest) *tableStream {
	t.Helper()
	s := &tableStream{ctx: context.Background()}
	if err := service.Tabulate(req, s); err != nil {
		t.Fatal(err)
	}
	return s
}

func smallTable() *bowrollv1.WindLimitsTabulateRequest {
	return &bowrollv1.WindLimitsTabulateRequest{
		Deck: "sites/varrow/decks/main", Spots: []string{"s4", "s6"},
		Air:           &bowrollv1.Air{PressurePa: proto.Float64(101000), TemperatureC: proto.Float64(15)},
		TemperaturesC: []float64{0, 20, 40},
		Loads: []*bowrollv1.WindTableLoad{
			{AircraftType: "aircraftTypes/halbrook", Flaps: []string{"takeoff"}, GrossMassesKg: []float64{4400, 5000, 5600, 6500}},
			{AircraftType: "aircraftTypes/corvane", GrossMassesKg: []float64{5000, 5800}, UnitCounts: []int32{0, 2, 4}},
			{AircraftType: "aircraftTypes/ostrel", GrossMassesKg: []float64{50000}},
		},
		Boosters:   &bowrollv1.WindTableBoosters{BoosterType: "boosterTypes/emberlin-6", GrainTemperaturesC: []float64{20, 80}},
		FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED,
	}
}

// Every cell is the answer to the single question at its place.
func TestTableCellsAreSingleAnswers(t *testing.T) {
	got := tabulate(t, 2, smallTable())
	states := map[bowrollv1.LimitState]int{}
	for i, row := range got.rows {
		if int(row.GetIndex()) != i {
			t.Fatalf("row %d has index %d", i, row.GetIndex())
		}
		states[row.GetState()]++
		if row.GetState() == bowrollv1.LimitState_LIMIT_STATE_NONE && row.GetReason() == "" {
			t.Errorf("row %d has no limit and no reason: %v", i, row)
		}
		if strings.HasPrefix(row.GetReason(), "Not computed") || i%3 > 0 {
			continue
		}
		c := &bowrollv1.TakeoffCase{
			AircraftType: row.GetAircraftType(), Flap: row.GetFlap(), GrossMassKg: &row.GrossMassKg,
			Air:  &bowrollv1.Air{PressurePa: proto.Float64(101000), TemperatureC: &row.TemperatureC},
			Deck: "sites/varrow/decks/main", Spot: row.GetSpot(),
		}
		if row.GetUnitCount() > 0 {
			c.Boosters = &bowrollv1.Boosters{
				Count: &row.UnitCount, BoosterType: row.GetBoosterType(), GrainTemperatureC: row.GrainTemperatureC,
				Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST},
			}
		}
		out, err := windService(t, 1).Compute(context.Background(), &bowrollv1.WindLimitsComputeRequest{
			Case: c, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED,
		})
		if err != nil {
			t.Fatal(err)
		}
		single := out.GetLimits()[0]
		if single.GetLeastHeadwindMps().GetState() != row.GetState() || single.GetLeastHeadwindMps().GetValue() != row.GetLeastHeadwindMps() ||
			single.GetBinds() != row.GetBinds() || single.GetDelayS() != row.GetDelayS() || single.GetRequiredRunM() != row.GetRequiredRunM() {
			t.Errorf("row %d:\n%v\nsingle:\n%v", i, row, single)
		}
	}
	if len(states) < 2 || int(got.summary.GetCellCount()) != len(got.rows) ||
		int(got.summary.GetFoundCount()) != states[bowrollv1.LimitState_LIMIT_STATE_FOUND] {
		t.Errorf("%v, summary %v", states, got.summary)
	}
	last := got.progress[len(got.progress)-1]
	if last.GetDoneCount() != last.GetCellCount() || int(last.GetCellCount()) != len(got.rows) {
		t.Errorf("last progress %v of %d rows", last, len(got.rows))
	}
}

// Cells that cannot be reached say why, and do not fail the table.
func TestTableSaysWhyACellIsEmpty(t *testing.T) {
	reasons := map[string]int{}
	for _, row := range tabulate(t, 1, smallTable()).rows {
		if row.GetReason() != "" {
			reasons[row.GetReason()]++
		}
	}
	for _, want := range []string{
		"the type's masses are 4300 to 5900 kg", "is no loading of this type", "the widest span that fits", "firing limits",
	} {
		found := false
		for reason := range reasons {
			found = found || strings.Contains(reason, want)
		}
		if !found {
			t.Errorf("no cell says %q: %v", want, reasons)
		}
	}
}

// A table is the same bits on any number of cores.
func TestTableDoesNotDependOnWorkers(t *testing.T) {
	one, four := tabulate(t, 1, smallTable()), tabulate(t, 4, smallTable())
	for i := range one.rows {
		if !proto.Equal(one.rows[i], four.rows[i]) {
			t.Errorf("row %d:\n%v\n%v", i, one.rows[i], four.rows[i])
		}
	}
	if !proto.Equal(one.summary, four.summary) || len(one.progress) != len(four.progress) {
		t.Errorf("%v\n%v", one.summary, four.summary)
	}
}

// What the table says to take between its cells is never less wind than the
// point itself needs.
func TestBetweenCellsIsOnTheSafeSide(t *testing.T) {
	req := smallTable()
	req.Loads = []*bowrollv1.WindTableLoad{
		{AircraftType: "aircraftTypes/halbrook", Flaps: []string{"takeoff"}},
		{AircraftType: "aircraftTypes/corvane", Flaps: []string{"takeoff"}},
		{AircraftType: "aircraftTypes/wendrake", Flaps: []string{"takeoff"}},
	}
	req.Spots = []string{"s4", "s6", "s8"}
	req.Boosters.GrainTemperaturesC = []float64{20}
	service := windService(t, 2)
	rows := tabulateOn(t, service, req).rows
	rng := rand.New(rand.NewPCG(1, 7))
	const masses, temperatures = evenMasses, 3
	compared := 0
	var slack float64
	for base := 0; base+masses*temperatures <= len(rows); base += masses * temperatures {
		for range 3 {
			i, j := rng.IntN(masses-1), rng.IntN(temperatures-1)
			at := func(i, j int) *bowrollv1.WindTableRow { return rows[base+j*masses+i] }
			low, high := at(i, j), at(i+1, j+1)
			mass := low.GetGrossMassKg() + rng.Float64()*(high.GetGrossMassKg()-low.GetGrossMassKg())
			temperature := low.GetTemperatureC() + rng.Float64()*(high.GetTemperatureC()-low.GetTemperatureC())
			take, none := takeoff.LeastHeadwindMPS, false
			for _, corner := range []*bowrollv1.WindTableRow{low, high, at(i+1, j), at(i, j+1)} {
				none = none || corner.GetState() == bowrollv1.LimitState_LIMIT_STATE_NONE
				if corner.LeastHeadwindMps != nil {
					take = max(take, corner.GetLeastHeadwindMps())
				}
			}
			if none {
				continue
			}
			point := proto.CloneOf(req)
			point.TemperaturesC, point.Spots = []float64{temperature}, []string{low.GetSpot()}
			point.Loads = []*bowrollv1.WindTableLoad{{
				AircraftType: low.GetAircraftType(), Flaps: []string{low.GetFlap()}, GrossMassesKg: []float64{mass}, UnitCounts: []int32{low.GetUnitCount()},
			}}
			exact := tabulateOn(t, service, point).rows[0]
			if exact.GetState() == bowrollv1.LimitState_LIMIT_STATE_NONE || exact.LeastHeadwindMps != nil && exact.GetLeastHeadwindMps() > take {
				t.Errorf("%s, %d units, %s at %.0f kg, %.1f degC needs %v (%v), between cells %.6f",
					low.GetAircraftType(), low.GetUnitCount(), low.GetSpot(), mass, temperature, exact.LeastHeadwindMps, exact.GetReason(), take)
			}
			if exact.LeastHeadwindMps != nil {
				slack += take - exact.GetLeastHeadwindMps()
			}
			compared++
		}
	}
	if compared < 30 {
		t.Errorf("only %d points compared", compared)
	}
	t.Logf("%d points, on average %.2f m/s on the safe side", compared, slack/float64(compared))
}

func TestTableStopsOnCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := windService(t, 1).Tabulate(smallTable(), &tableStream{ctx: ctx}); err == nil {
		t.Error("a table whose caller is gone goes on")
	}
}

func TestTableRefusesWithEveryFault(t *testing.T) {
	req := smallTable()
	req.Spots = []string{"s4", "s44"}
	req.Loads[0].Flaps = []string{"down"}
	req.Loads[1].AircraftType = "aircraftTypes/corvan"
	req.Boosters.BoosterType = "boosterTypes/none"
	err := windService(t, 1).Tabulate(req, &tableStream{ctx: context.Background()})
	for _, want := range []string{"spots[1]", "loads[0].flaps[0]", "loads[1].aircraft_type", "boosters.booster_type"} {
		if err == nil || !strings.Contains(fmt.Sprint(violationsOf(err)), want) {
			t.Errorf("%s is not refused: %v", want, err)
		}
	}
}

// BenchmarkTable is 1,800 cells: two types, three spots, five temperatures and
// twenty masses with 0, 2 or 4 units; beside it the cells of one thread.
func BenchmarkTable(b *testing.B) {
	req := smallTable()
	req.Spots = []string{"s4", "s5", "s6", "s7"}
	req.TemperaturesC = []float64{0, 10, 20, 30, 40}
	req.Loads = req.Loads[:2]
	for _, load := range req.Loads {
		load.Flaps, load.GrossMassesKg, load.UnitCounts = []string{"takeoff"}, nil, nil
		low, high := 4400.0, 5900.0
		for i := range 18 {
			load.GrossMassesKg = append(load.GrossMassesKg, math.Round(low+(high-low)*float64(i)/17))
		}
	}
	req.Loads[0].UnitCounts, req.Loads[1].UnitCounts = []int32{0, 2, 4}, []int32{0, 2}
	req.Boosters.GrainTemperaturesC = []float64{20}
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			cells, service := 0, windService(b, workers)
			for b.Loop() {
				cells += len(tabulateOn(b, service, req).rows)
			}
			b.ReportMetric(float64(cells)/float64(b.N), "cells")
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(cells), "us/cell")
		})
	}
}

// A limit with the firing planned on a percentile at each wind is where a single
// take-off planned so changes; so is one held to a probability.
func TestSampledWindLimitsReproduceSingleTakeoffs(t *testing.T) {
	service, single := windService(t, 1), NewTakeoffs(testValidator(t), testSnapshot(t), 1)
	likely := sample()
	likely.Policy = &bowrollv1.Policy{RunFactor: proto.Float64(1), LeastProbability: proto.Float64(0.97)}
	planned := sample()
	planned.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_PLANNED}
	for i, c := range []*bowrollv1.TakeoffCase{planned, likely} {
		out, err := service.Compute(context.Background(), &bowrollv1.WindLimitsComputeRequest{
			Case: c, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED,
		})
		if err != nil {
			t.Fatal(err)
		}
		limit := out.GetLimits()[0]
		if limit.GetLeastHeadwindMps().GetState() != bowrollv1.LimitState_LIMIT_STATE_FOUND {
			t.Fatalf("case %d: %s", i, limit.GetText())
		}
		if i == 1 && limit.GetBinds() != bowrollv1.Outcome_OUTCOME_PROBABILITY_TOO_LOW {
			t.Errorf("a probability of 0.97 does not bind: %s", limit.GetText())
		}
		for _, steps := range []float64{0, -1} {
			c := proto.CloneOf(c)
			c.HeadwindMps = proto.Float64((math.Round(limit.GetLeastHeadwindMps().GetValue()/takeoff.WindStepMPS) + steps) * takeoff.WindStepMPS)
			got, err := single.Compute(context.Background(), &bowrollv1.TakeoffsComputeRequest{Case: c, Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_FAILURES}})
			if err != nil {
				t.Fatal(err)
			}
			if goes(got.GetOutcome()) != (steps == 0) {
				t.Errorf("case %d, %v steps from the limit: %s (%s)", i, steps, got.GetLimiting(), limit.GetText())
			}
		}
	}
}
