package server_test

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

const tableJSON = `{"deck":"sites/varrow/decks/main","spots":["s5"],"air":{"pressure_pa":101000,"temperature_c":10},"temperatures_c":[0,30],` +
	`"loads":[{"aircraft_type":"aircraftTypes/halbrook","flaps":["takeoff"],"gross_masses_kg":[4500,5200,9000]}],` +
	`"boosters":{"booster_type":"boosterTypes/emberlin-6","grain_temperatures_c":[20]},"firing_plan":"FIRING_PLAN_REPLANNED"}`

// A table is the same over gRPC and as lines of JSON: a row a cell with every
// column, progress, and a summary that says complete as the last line.
func TestTableOverBothTransports(t *testing.T) {
	h := whole(t)
	got := h.post(t, "/v1/windLimits:tabulate", tableJSON)
	if got.code != 200 || got.header.Get("Content-Type") != "application/x-ndjson" {
		t.Fatalf("%d %v %.300s", got.code, got.header, got.text)
	}
	list := strings.Split(strings.TrimSuffix(got.text, "\n"), "\n")
	var rows []map[string]any
	for i, text := range list {
		var line map[string]any
		if err := json.Unmarshal([]byte(text), &line); err != nil {
			t.Fatal(err)
		}
		switch line["type"] {
		case "item":
			rows = append(rows, line)
		case "summary":
			if i != len(list)-1 || line["complete"] != true || line["cell_count"] != float64(len(rows)) || line["between_cells"] == "" {
				t.Errorf("summary is line %d of %d: %s", i+1, len(list), text)
			}
		case "progress":
		default:
			t.Errorf("line of type %v", line["type"])
		}
	}
	if len(rows) != 18 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows {
		if len(row) != len(rows[0]) {
			t.Errorf("a row has %d columns, another %d", len(row), len(rows[0]))
		}
	}
	req := &bowrollv1.WindLimitsTabulateRequest{}
	if err := protojson.Unmarshal([]byte(tableJSON), req); err != nil {
		t.Fatal(err)
	}
	stream, err := bowrollv1.NewWindLimitsClient(h.conn).Tabulate(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	at := 0
	for {
		part, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if row := part.GetItem(); row != nil {
			least, _ := rows[at]["least_headwind_mps"].(float64)
			if row.GetLeastHeadwindMps() != least || row.GetReason() != rows[at]["reason"] {
				t.Errorf("row %d: %v over gRPC, %v over JSON", at, row, rows[at])
			}
			at++
		}
	}
	if at != len(rows) {
		t.Errorf("%d rows over gRPC", at)
	}
}

const courseJSON = `{"deck":"sites/varrow/decks/main","present_course_deg":90,"launch_s":600,` +
	`"natural_wind":{"from_deg":300,"speed_mps":9,"lull_mps":7,"gust_mps":12,"direction_spread_deg":5},` +
	`"sea_room":[{"from_deg":150,"to_deg":200}],` +
	`"loads":[{"id":"known","limits":{"least_headwind_mps":12}},{"id":"searched","case":` + `{"aircraft_type":"aircraftTypes/halbrook","flap":"takeoff","gross_mass_kg":4800,` +
	`"air":{"pressure_pa":101000,"temperature_c":0},"deck":"sites/varrow/decks/main","spot":"s5",` +
	`"boosters":{"count":2,"booster_type":"boosterTypes/emberlin-6","grain_temperature_c":20,"firing":{"mode":"FIRING_MODE_BEST"}}}}]}`

func TestCourseOverBothTransports(t *testing.T) {
	h := whole(t)
	got := h.post(t, "/v1/windLimits:findCourse", courseJSON)
	if got.code != 200 {
		t.Fatalf("%d %.500s", got.code, got.text)
	}
	req := &bowrollv1.WindLimitsFindCourseRequest{}
	if err := protojson.Unmarshal([]byte(courseJSON), req); err != nil {
		t.Fatal(err)
	}
	out, err := bowrollv1.NewWindLimitsClient(h.conn).FindCourse(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	body := got.body(t)
	recommended, _ := body["recommended"].(map[string]any)
	if recommended["course_deg"] != out.GetRecommended().GetCourseDeg() || body["text"] != out.GetText() || out.GetRecommended() == nil {
		t.Errorf("%v over JSON, %v over gRPC", body["text"], out.GetText())
	}
	if body["shortfall"] != nil || len(out.GetLoads()) != 2 || out.GetBindingLoad() == "" {
		t.Errorf("got %s", got.text)
	}
}

// Two sensors that disagree hold the answer, and a course with it.
func TestReadingsThatDisagreeHoldTheAnswer(t *testing.T) {
	h := whole(t)
	readings := func(second string) string {
		return `"ship":{"course_deg":270,"speed_mps":8},"readings":[` +
			`{"anemometer":"mast-port","relative_from_deg":350,"speed_mps":14,"averaging_s":120,"lull_mps":11,"gust_mps":18},` +
			`{"anemometer":"mast-starboard","relative_from_deg":352,"speed_mps":` + second + `,"averaging_s":120}]`
	}
	for second, hold := range map[string]string{"14.5": "WIND_HOLD_NONE", "20": "WIND_HOLD_SENSORS_DISAGREE"} {
		got := h.post(t, "/v1/windLimits:readWind", `{"site":"sites/varrow",`+readings(second)+`}`)
		body := got.body(t)
		if got.code != 200 || body["hold"] != hold || (body["natural_wind"] == nil) != (hold != "WIND_HOLD_NONE") {
			t.Errorf("%s m/s: %d %s", second, got.code, got.text)
		}
		course := strings.Replace(courseJSON, `"natural_wind":{"from_deg":300,"speed_mps":9,"lull_mps":7,"gust_mps":12,"direction_spread_deg":5}`, readings(second), 1)
		got = h.post(t, "/v1/windLimits:findCourse", course)
		body = got.body(t)
		if got.code != 200 || (body["recommended"] == nil) != (hold != "WIND_HOLD_NONE") {
			t.Errorf("%s m/s: %d %s", second, got.code, got.text)
		}
	}
	got := h.post(t, "/v1/windLimits:readWind", `{"site":"sites/varrow","ship":{"course_deg":0,"speed_mps":1},"readings":[{"anemometer":"mast-aft","relative_from_deg":1,"speed_mps":2,"averaging_s":100}]}`)
	if _, fields := got.refused(t); len(fields) != 1 || !strings.HasPrefix(fields[0], "readings[0].anemometer") {
		t.Errorf("an unknown sensor: %s", got.text)
	}
}

func TestCourseRefusesWithEveryFault(t *testing.T) {
	h := whole(t)
	bad := strings.NewReplacer(`"launch_s":600`, `"launch_s":-1`, `"to_deg":200`, `"to_deg":400`, `"temperature_c":0`, `"temperature_c":"NaN"`,
		`"speed_mps":9`, `"speed_mps":99`).Replace(courseJSON)
	got := h.post(t, "/v1/windLimits:findCourse", bad)
	_, fields := got.refused(t)
	for _, want := range []string{"launch_s", "sea_room[0].to_deg", "loads[1].case.air.temperature_c", "natural_wind.speed_mps"} {
		found := false
		for _, f := range fields {
			found = found || strings.HasPrefix(f, want)
		}
		if !found {
			t.Errorf("%s is not refused: %v", want, fields)
		}
	}
}

// The answers are what the OpenAPI file says, finite, with where they come from,
// and the same bytes each time.
func TestWindAnswersAreWhatTheOpenAPIFileSays(t *testing.T) {
	doc := published(t)
	h := whole(t)
	for path, body := range map[string]string{
		"/v1/windLimits:findCourse": courseJSON,
		"/v1/windLimits:readWind": `{"site":"sites/varrow","ship":{"course_deg":0,"speed_mps":5},"readings":[` +
			`{"anemometer":"mast-port","relative_from_deg":350,"speed_mps":14,"averaging_s":120}]}`,
		"/v1/windLimits:compute": `{"case":` + caseJSON + `,"firing_plan":"FIRING_PLAN_REPLANNED","unit_counts":[0,2,4],"direction_step_deg":15}`,
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
		provenance, _ := got.body(t)["provenance"].(map[string]any)
		if digest, _ := provenance["request_digest"].(string); digest == "" {
			t.Errorf("%s: no provenance", path)
		}
		if again := h.post(t, path, body); again.text != got.text {
			t.Errorf("%s: the same request gives other bytes", path)
		}
	}
}
