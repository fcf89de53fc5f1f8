package rpc

import (
	"context"
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/wirejson"
)

func TestTableSaysWhatTheBatchSays(t *testing.T) {
	never, wrong := sample(), sample()
	never.GrossMassKg, never.Boosters = proto.Float64(5500), nil
	never.AvailableM = proto.Float64(20)
	wrong.GrossMassKg = nil
	unlit := sample()
	unlit.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_UNLIT}
	req := &bowrollv1.TakeoffsBatchComputeRequest{
		Cases: []*bowrollv1.TakeoffCase{sample(), never, wrong, unlit},
		Sections: []bowrollv1.Section{
			bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_CHANCE,
		},
	}
	service := NewTakeoffs(testValidator(t), testSnapshot(t), 2)
	batch, err := service.BatchCompute(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	table, err := service.Tabulate(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(table.GetProvenance(), batch.GetProvenance()) || !proto.Equal(table.GetSummary(), batch.GetSummary()) {
		t.Error("provenance or summary differ from those of the batch")
	}
	rows := table.GetRows()
	if got, want := rows[0].GetRunM(), batch.GetItems()[0].GetTakeoff().GetRunM(); got != want || got == 0 {
		t.Errorf("run_m = %v, the batch says %v", got, want)
	}
	if rows[0].Covered == nil || rows[0].LeastHeadwindMps == nil || rows[0].Probability == nil || rows[0].CommandS == nil {
		t.Errorf("columns that were asked for are empty: %v", rows[0])
	}
	if rows[0].GetUnitCount() != 2 || rows[1].UnitCount == nil || rows[1].GetUnitCount() != 0 {
		t.Errorf("unit_count = %v and %v, want 2 and 0", rows[0].UnitCount, rows[1].UnitCount)
	}
	if rows[1].GetGoes() || rows[1].GetFiringMode() != "" || rows[1].CommandS != nil {
		t.Errorf("a run of 20 m without units: %v", rows[1])
	}
	if rows[2].GetStatus() != "INVALID_ARGUMENT" || !strings.Contains(rows[2].GetFaults(), "cases[2].gross_mass_kg") || rows[2].RunM != nil {
		t.Errorf("a case without mass: %v", rows[2])
	}
	if rows[3].GetFiringMode() != "FIRING_MODE_UNLIT" || rows[3].CommandS != nil {
		t.Errorf("units that are not fired: %v", rows[3])
	}
	sameColumns(t, table)
}

func TestPlanTableSaysWhatThePlanSays(t *testing.T) {
	service := NewCycles(testValidator(t), testSnapshot(t), 2)
	req := &bowrollv1.CyclesPlanRequest{Cycle: testCycle()}
	plan, err := service.Plan(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	table, err := service.Tabulate(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	launches, units, priority := 0, int32(0), int32(0)
	for i, row := range table.GetRows() {
		if row.GetSortie() != req.GetCycle().GetSorties()[i].GetId() || row.GetOrder() != int32(i+1) {
			t.Errorf("row %d is %s, number %d", i, row.GetSortie(), row.GetOrder())
		}
		if !row.GetLaunches() {
			if row.GetHoldReason() == "" || row.GetText() == "" || row.RunM != nil {
				t.Errorf("held %s: %v", row.GetSortie(), row)
			}
			continue
		}
		launches++
		units += row.GetUnitCount()
		priority += row.GetPriority()
		if row.GetMarginM() < 0 || row.RunM == nil || row.GetHoldReason() != "" {
			t.Errorf("launch %s: %v", row.GetSortie(), row)
		}
	}
	if launches != len(plan.GetLaunches()) || launches == 0 || launches == len(table.GetRows()) {
		t.Errorf("%d rows launch, the plan has %d", launches, len(plan.GetLaunches()))
	}
	if units != table.GetUnitsUsed() || priority != table.GetPriorityLaunched() {
		t.Errorf("rows sum to %d units and priority %d, the table says %d and %d", units, priority, table.GetUnitsUsed(), table.GetPriorityLaunched())
	}
	if !proto.Equal(table.GetProvenance(), plan.GetProvenance()) {
		t.Error("provenance differs from that of the plan")
	}
	sameColumns(t, table)
}

// sameColumns holds that every row has every column over JSON, and none is an
// object or a list: it loads into a data frame as it is.
func sameColumns(t *testing.T, table proto.Message) {
	t.Helper()
	text, err := wirejson.Marshal(table)
	if err != nil {
		t.Fatal(err)
	}
	var answer struct {
		Rows []map[string]any `json:"rows"`
	}
	if err := json.Unmarshal(text, &answer); err != nil {
		t.Fatal(err)
	}
	columns := slices.Sorted(maps.Keys(answer.Rows[0]))
	for i, row := range answer.Rows {
		if !slices.Equal(slices.Sorted(maps.Keys(row)), columns) {
			t.Errorf("row %d has other columns than row 0", i)
		}
		for name, value := range row {
			switch value.(type) {
			case map[string]any, []any:
				t.Errorf("row %d: %s is not flat", i, name)
			}
		}
	}
}
