package server_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cycleJSON is a queue of six that six units cannot serve in full.
func cycleJSON() string {
	var sorties []string
	for i := range 6 {
		sorties = append(sorties, fmt.Sprintf(`{"id":"birch-%d","aircraft_type":"aircraftTypes/halbrook","flap":"takeoff","gross_mass_kg":%d,`+
			`"spot":"s5","priority":%d,"launch_s":%d}`, i+1, 4700+150*i, 10+7*i%13, 1800+180*i))
	}
	return `{"id":"noon","deck":"sites/varrow/decks/main","start_time":"2041-03-07T05:30:00Z",` +
		`"air":{"pressure_pa":101325,"temperature_c":25},"natural_wind":{"from_deg":292,"speed_mps":5},` +
		`"crews":{"team_count":2,"fit_time_s":300,"hold_least_s":300,"hold_greatest_s":3600},` +
		`"deck_work":{"interval_s":60,"igniter_s":30,"igniter_limit_s":600,"turn_s":240,"steady_s":300},` +
		`"sorties":[` + strings.Join(sorties, ",") + `],"lots":[` +
		`{"id":"lot-01","booster_type":"boosterTypes/emberlin-6","usable_count":3,"grain_temperature_c":20,"expire_time":"2041-06-01T00:00:00Z"},` +
		`{"id":"lot-02","booster_type":"boosterTypes/emberlin-6","usable_count":3,"grain_temperature_c":21,"expire_time":"2041-09-01T00:00:00Z"}]}`
}

func into[T proto.Message](t *testing.T, text string, m T) T {
	t.Helper()
	if err := protojson.Unmarshal([]byte(text), m); err != nil {
		t.Fatalf("%v: %.400s", err, text)
	}
	return m
}

// The stream tells how far the plan is, then gives the very plan that Plan gives,
// over gRPC and as lines of JSON.
func TestPlanStream(t *testing.T) {
	h := whole(t)
	body := `{"cycle":` + cycleJSON() + `}`
	req := into(t, body, &bowrollv1.CyclesPlanRequest{})
	want, err := bowrollv1.NewCyclesClient(h.conn).Plan(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	stream, err := bowrollv1.NewCyclesClient(h.conn).PlanStream(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	stages := map[bowrollv1.PlanStage]int{}
	var plan *bowrollv1.CyclePlan
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if p := m.GetProgress(); p != nil {
			if plan != nil {
				t.Error("progress after the plan")
			}
			stages[p.GetStage()]++
			if p.Bound != nil && p.BestPriority != nil && p.GetBound() < float64(p.GetBestPriority()) {
				t.Errorf("bound below the best: %v", p)
			}
		}
		if m.GetItem() != nil {
			plan = m.GetItem()
		}
	}
	if !proto.Equal(plan, want) {
		t.Error("the stream's plan is another than Plan's")
	}
	for _, s := range []bowrollv1.PlanStage{bowrollv1.PlanStage_PLAN_STAGE_FITS, bowrollv1.PlanStage_PLAN_STAGE_ALLOCATION, bowrollv1.PlanStage_PLAN_STAGE_ANSWER} {
		if stages[s] == 0 {
			t.Errorf("no progress of %v", s)
		}
	}
	got := h.post(t, "/v1/cycles:planStream", body)
	list := strings.Split(strings.TrimSuffix(got.text, "\n"), "\n")
	last := lines(t, got.text)[len(list)-1]
	if got.code != 200 || len(list) < 4 || !strings.HasPrefix(list[0], `{"type":"progress"`) || !last.Complete || last.ItemCount != 1 {
		t.Fatalf("%d %.600s", got.code, got.text)
	}
	item := list[len(list)-2]
	if !strings.HasPrefix(item, `{"type":"item"`) || !proto.Equal(into(t, strings.Replace(item, `"type":"item",`, "", 1), &bowrollv1.CyclePlan{}), want) {
		t.Errorf("the line's plan is another than Plan's: %.300s", item)
	}
	// A refusal is the whole answer, with every fault.
	bad := h.post(t, "/v1/cycles:planStream", strings.Replace(body, `"halbrook"`, `"none"`, 1)[:len(body)-2]+`,"groups":[{"id":"g","spots":[{"spot":"s99"}]}]}}`)
	if code, fields := bad.refused(t); bad.code != 400 || code != "INVALID_ARGUMENT" || len(fields) == 0 {
		t.Errorf("%d %s", bad.code, bad.text)
	}
}

// A caller's deadline ends a long plan.
func TestPlanStopsAtTheDeadline(t *testing.T) {
	h := whole(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := bowrollv1.NewCyclesClient(h.conn).Plan(ctx, into(t, `{"cycle":`+cycleJSON()+`}`, &bowrollv1.CyclesPlanRequest{}))
	if status.Code(err) != codes.Canceled {
		t.Fatal(err)
	}
}

// What JSON callers get is what the contract says, field by field.
func TestCyclesOverJSON(t *testing.T) {
	h := whole(t)
	doc := published(t)
	cycle := cycleJSON()
	second := strings.NewReplacer(`"noon"`, `"later"`, "lot-01", "lot-11", "lot-02", "lot-12").Replace(cycle)
	fleet := `{"fleet":{"id":"two","cycles":[` + cycle + `,` + second + `],"transfers":[{"origin":"noon","destination":"later","most_count":2,` +
		`"arrive_time":"2041-03-07T05:00:00Z"}]}}`
	for path, body := range map[string]string{
		"/v1/cycles:plan": `{"include_prices":true,"include_options":true,"include_lp":true,"misfires":[{"sortie":"birch-1"}],` +
			`"keep":[{"sortie":"birch-2","spot":"s5","draws":[{"lot":"lot-01","unit_count":2}]}],"cycle":` + cycle + `}`,
		"/v1/cycles:planFleet": fleet,
		"/v1/cycles:compare": `{"cycle":` + cycle + `,"include_plans":true,"variants":[{"id":"a"},{"id":"b","reserve_count":4}],` +
			`"speed_sweep":{"least_mps":6,"greatest_mps":10,"step_mps":2}}`,
	} {
		got := h.post(t, path, body)
		if got.code != 200 {
			t.Errorf("%s: %d %s", path, got.code, got.text)
			continue
		}
		schema := doc.Paths.Value(path).GetOperation("POST").Responses.Value("200").Value.Content["application/json"].Schema.Value
		var value any
		if err := json.Unmarshal([]byte(got.text), &value); err != nil {
			t.Fatal(err)
		}
		if err := schema.VisitJSON(value); err != nil {
			t.Errorf("%s: %v", path, err)
		}
		for _, unknown := range unknownKeys(schema, value, "") {
			t.Errorf("%s: %s is not in the file", path, unknown)
		}
	}
	for _, c := range []struct{ path, body, want string }{
		{"/v1/cycles:plan", `{"cycle":` + strings.Replace(cycle, `"usable_count":3`, `"usable_count":-1`, 1) + `}`, "cycle.lots[0].usable_count range"},
		{"/v1/cycles:plan", `{"cycle":` + strings.Replace(cycle, `"lot-02"`, `"lot-01"`, 1) + `}`, "cycle.lots[1].id unique"},
		{"/v1/cycles:plan", `{"misfires":[{"sortie":"nobody"}],"cycle":` + cycle + `}`, "misfires[0].sortie known"},
		{"/v1/cycles:plan", `{"keep":[{"sortie":"birch-1"},{"sortie":"birch-1"}],"cycle":` + cycle + `}`, "keep[1].sortie unique"},
		{"/v1/cycles:compare", `{"cycle":` + cycle + `,"variants":[{"id":"a"},{"id":"a"}]}`, "variants[1].id unique"},
		{"/v1/cycles:compare", `{"cycle":` + cycle + `,"variants":[{"id":"a"}]}`, " compare.variants"},
		{"/v1/cycles:planFleet", strings.Replace(fleet, `"destination":"later"`, `"destination":"nowhere"`, 1), "fleet.transfers[0].destination known"},
	} {
		got := h.post(t, c.path, c.body)
		if code, fields := got.refused(t); got.code != 400 || code != "INVALID_ARGUMENT" || !strings.Contains(strings.Join(fields, "\n"), c.want) {
			t.Errorf("%s: want %q in %d %s", c.path, c.want, got.code, got.text)
		}
	}
}
