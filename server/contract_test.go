package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
)

// whole starts the whole service with the built-in catalog.
func whole(t *testing.T) *harness {
	t.Helper()
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	config := server.Config{
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t), Cores: 1, Grace: time.Second, NewID: assembly.NewID,
	}
	kept, err := assembly.OpenStore(t.Context(), filepath.Join(t.TempDir(), "bowroll.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := kept.Close(); err != nil {
			t.Error(err)
		}
	})
	s, err := assembly.New(config, folder, assembly.WithStore(kept, time.Now))
	if err != nil {
		t.Fatal(err)
	}
	return around(t, s)
}

// caseJSON is a sound case on the built-in catalog.
const caseJSON = `{"id":"a","aircraft_type":"aircraftTypes/halbrook","flap":"takeoff","gross_mass_kg":4800,` +
	`"air":{"pressure_pa":101000,"temperature_c":0},"headwind_mps":0,"deck":"sites/varrow/decks/main","spot":"s5",` +
	`"boosters":{"count":2,"booster_type":"boosterTypes/emberlin-6","grain_temperature_c":20,` +
	`"firing":{"mode":"FIRING_MODE_ROLLING","delay_s":0}}}`

func soundCase(t *testing.T) *bowrollv1.TakeoffCase {
	t.Helper()
	c := &bowrollv1.TakeoffCase{}
	if err := protojson.Unmarshal([]byte(caseJSON), c); err != nil {
		t.Fatal(err)
	}
	return c
}

// messages calls visit for every message of the contract.
func messages(visit func(protoreflect.MessageDescriptor)) {
	protoregistry.GlobalFiles.RangeFilesByPackage(server.Package, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Messages().Len() {
			visit(file.Messages().Get(i))
		}
		return true
	})
}

func noIntegerThatJSONTurnsIntoText(t *testing.T) {
	messages(func(m protoreflect.MessageDescriptor) {
		for i := range m.Fields().Len() {
			switch fd := m.Fields().Get(i); fd.Kind() {
			case protoreflect.Int64Kind, protoreflect.Uint64Kind, protoreflect.Sint64Kind, protoreflect.Fixed64Kind,
				protoreflect.Sfixed64Kind, protoreflect.Uint32Kind, protoreflect.Fixed32Kind, protoreflect.FloatKind:
				t.Errorf("%s is %s", fd.FullName(), fd.Kind())
			}
		}
	})
}

// suffixes are the units that end the name of a quantity.
var suffixes = []string{
	"_m", "_m2", "_s", "_mps", "_kg", "_n", "_ns", "_pa", "_c", "_deg", "_w", "_j", "_g",
	"_bytes", "_deg_s", "_kg_m3", "_per_k", "_per_s", "_mps2", "_nm", "_m_s", "_n_m", "_rate_deg_s", "_v", "_a", "_ohm",
}

// bare are quantities without a unit: ratios, factors, coefficients and numbers
// whose unit stands beside them.
var bare = []string{
	"relative_humidity", "run_factor", "headwind_credit", "tailwind_factor", "failure_factor", "percentile",
	"least_probability", "least_saving", "least_gradient", "gradient", "gradient_with_boosters", "gradient_without_boosters", "saving", "probability", "friction", "upslope",
	"sigma", "efficiency_factor", "density_exponent", "liftoff_factor", "oswald", "cl_max", "cl_roll", "cd0", "fraction", "gap",
	"value", "limit", "least", "greatest", "shortfall", "change", "expected", "computed", "deviation", "tolerance", "largest_relative", "priority",
	"bound", "objective", "factor", "ratio", "standard_error", "values",
	"score", "scores", "score_rms", "correlation", "low", "high", "alone", "spread", "alarm_runs", "detection_runs", // in standard deviations, parts and counts
}

func everyQuantityNamesItsUnit(t *testing.T) {
	messages(func(m protoreflect.MessageDescriptor) {
		for i := range m.Fields().Len() {
			fd := m.Fields().Get(i)
			if fd.Kind() != protoreflect.DoubleKind {
				continue
			}
			name := string(fd.Name())
			if !slices.ContainsFunc(suffixes, func(s string) bool { return strings.HasSuffix(name, s) }) &&
				!slices.ContainsFunc(bare, func(s string) bool { return name == s || strings.HasSuffix(name, "_"+s) }) {
				t.Errorf("%s names no unit", fd.FullName())
			}
		}
	})
}

func TestZeroOfAnEnumIsNeverAState(t *testing.T) {
	protoregistry.GlobalFiles.RangeFilesByPackage(server.Package, func(file protoreflect.FileDescriptor) bool {
		for i := range file.Enums().Len() {
			e := file.Enums().Get(i)
			if zero := e.Values().ByNumber(0); zero == nil || !strings.HasSuffix(string(zero.Name()), "_UNSPECIFIED") {
				t.Errorf("%s: 0 is %v", e.FullName(), zero)
			}
		}
		return true
	})
}

func zeroIsAValueAndAbsenceIsAFault(t *testing.T) {
	h := whole(t)
	if got := h.post(t, "/v1/takeoffs:compute", `{"case":`+caseJSON+`}`); got.code != 200 {
		t.Fatalf("a calm of 0 is refused: %s", got.text)
	}
	for _, c := range []struct{ drop, field string }{
		{`"headwind_mps":0,`, "case one-of"},
		{`,"temperature_c":0`, "case.air.temperature_c required"},
		{`,"delay_s":0`, "case.boosters.firing.delay_s required"},
		{`"gross_mass_kg":4800,`, "case.gross_mass_kg required"},
	} {
		got := h.post(t, "/v1/takeoffs:compute", `{"case":`+strings.Replace(caseJSON, c.drop, "", 1)+`}`)
		if _, fields := got.refused(t); got.code != 400 || !slices.Equal(fields, []string{c.field}) {
			t.Errorf("without %s: %d %s", c.drop, got.code, got.text)
		}
	}
	req := &bowrollv1.TakeoffsComputeRequest{Case: soundCase(t)}
	req.Case.HeadwindMps = nil
	_, err := h.takeoffs.Compute(context.Background(), req)
	wantCode(t, err, codes.InvalidArgument)
	if got := violations(err); !slices.Equal(got, []string{"case one-of"}) {
		t.Errorf("over gRPC %q", got)
	}
}

func TestStrictInputReachesEveryDepth(t *testing.T) {
	h := whole(t)
	for _, c := range []struct{ name, from, to, field, phrase string }{
		{"an unknown key three levels down", `"delay_s":0`, `"delay_s":0,"dely_s":1`, "case.boosters.firing.dely_s known", "did you mean delay_s?"},
		{"a duplicate key", `"count":2`, `"count":2,"count":2`, "case.boosters.count once", "it stands twice"},
		{"a field under both names", `"gross_mass_kg":4800`, `"gross_mass_kg":4800,"grossMassKg":4800`, "case.gross_mass_kg once", "grossMassKg"},
		{"an unknown enum name", `FIRING_MODE_ROLLING`, `ROLLING`, "case.boosters.firing.mode enum", "FIRING_MODE_ROLLING"},
		{"an integer out of range", `"count":2`, `"count":3000000000`, "case.boosters.count range", "whole number"},
	} {
		got := h.post(t, "/v1/takeoffs:compute", `{"case":`+strings.Replace(caseJSON, c.from, c.to, 1)+`}`)
		code, fields := got.refused(t)
		if got.code != 400 || code != "INVALID_ARGUMENT" || !slices.Contains(fields, c.field) || !strings.Contains(got.text, c.phrase) {
			t.Errorf("%s: %d %s", c.name, got.code, got.text)
		}
	}
}

// notANumberIsRefusedInEveryDouble sets each double of each request that a
// call takes to NaN, in both forms.
func notANumberIsRefusedInEveryDouble(t *testing.T) {
	h := whole(t)
	tried := 0
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			method := service.Methods().Get(i)
			verb, path, ok := bodyPath(method)
			if !ok || method.IsStreamingClient() {
				continue
			}
			for i, chain := range doubles(method.Input(), nil) {
				tried++
				if testing.Short() && i%20 != 0 {
					continue
				}
				where := chainPath(chain)
				text, err := json.Marshal(nested(chain, "NaN"))
				if err != nil {
					t.Fatal(err)
				}
				got := h.do(t, verb, path, string(text))
				if !refusedAt(got, where, chain) {
					t.Errorf("%s over JSON: %s: %d %.300s", path, where, got.code, got.text)
				}
				m := newMessage(t, method.Input())
				setNaN(m, chain)
				answer := newMessage(t, method.Output())
				err = h.conn.Invoke(context.Background(), "/"+string(service.FullName())+"/"+string(method.Name()), m.Interface(), answer.Interface())
				if chain[0].IsList() && chain[0].Message() != nil && err == nil {
					// The item is refused, not the batch.
					text, _ := protojson.MarshalOptions{EmitUnpopulated: true}.Marshal(answer.Interface())
					inside := strings.SplitN(where, ".", 2)[1]
					if !strings.Contains(string(text), inside) || !strings.Contains(string(text), "INVALID_ARGUMENT") {
						t.Errorf("%s over gRPC: %s: %.300s", path, where, text)
					}
					continue
				}
				if !slices.Contains(violations(err), where+" finite") {
					t.Errorf("%s over gRPC: %s: %v %q", path, where, err, violations(err))
				}
			}
		}
	}
	if tried < 100 {
		t.Errorf("only %d doubles tried", tried)
	}
}

func refusedAt(got answer, where string, chain []protoreflect.FieldDescriptor) bool {
	if chain[0].IsList() && chain[0].Message() != nil && got.code == 200 {
		// The item is refused, not the batch.
		inside := strings.SplitN(where, ".", 2)[1]
		return strings.Contains(got.text, inside) && strings.Contains(got.text, "INVALID_ARGUMENT")
	}
	return got.code == 400 && strings.Contains(got.text, `"`+where+`"`)
}

func aBadItemNeverFailsTheBatch(t *testing.T) {
	h := whole(t)
	spoilt := map[int]struct{ from, to, field, rule string }{
		17:  {`"gross_mass_kg":4800`, `"gross_mass_kg":"NaN"`, "gross_mass_kg", "type"},
		57:  {`"temperature_c":0`, `"temperature_c":0,"temprature_c":1`, "air.temprature_c", "known"},
		199: {`"gross_mass_kg":4800`, `"gross_mass_kg":1`, "gross_mass_kg", "range"},
	}
	var cases []string
	for i := range 200 {
		text := strings.Replace(caseJSON, `"id":"a"`, fmt.Sprintf(`"id":"c-%d"`, i), 1)
		if s, ok := spoilt[i]; ok {
			text = strings.Replace(text, s.from, s.to, 1)
		}
		cases = append(cases, text)
	}
	got := h.post(t, "/v1/takeoffs:batchCompute", `{"cases":[`+strings.Join(cases, ",")+`]}`)
	if got.code != 200 {
		t.Fatalf("%d %.500s", got.code, got.text)
	}
	var batch struct {
		Items []struct {
			Index  int
			ID     string
			Status struct {
				Code       string
				Violations []struct{ Field, Rule string }
			}
			Takeoff *struct{}
		}
		Summary map[string]int
	}
	if err := json.Unmarshal([]byte(got.text), &batch); err != nil {
		t.Fatal(err)
	}
	if len(batch.Items) != 200 || batch.Summary["item_count"] != 200 || batch.Summary["refused_count"] != 3 || batch.Summary["answered_count"] != 197 {
		t.Fatalf("%d items, %v", len(batch.Items), batch.Summary)
	}
	for i, item := range batch.Items {
		if item.Index != i || item.ID != fmt.Sprintf("c-%d", i) {
			t.Fatalf("item %d is %d %s", i, item.Index, item.ID)
		}
		s, bad := spoilt[i]
		switch {
		case !bad && (item.Status.Code != "OK" || item.Takeoff == nil):
			t.Errorf("item %d: %+v", i, item)
		case bad && (item.Status.Code != "INVALID_ARGUMENT" || item.Takeoff != nil || len(item.Status.Violations) != 1 ||
			!strings.HasSuffix(item.Status.Violations[0].Field, s.field) || item.Status.Violations[0].Rule != s.rule):
			t.Errorf("item %d: %+v", i, item)
		}
	}
}

func aBadItemNeverFailsTheStream(t *testing.T) {
	h := whole(t)
	got := h.post(t, "/v1/takeoffs:streamCompute", `{"case":`+caseJSON+`}`+"\n"+
		`{"case":`+strings.Replace(caseJSON, `"temperature_c":0`, `"temprature_c":0`, 1)+`}`+"\n"+
		`{"case":`+strings.Replace(caseJSON, `"gross_mass_kg":4800`, `"gross_mass_kg":"NaN"`, 1)+`}`+"\n"+
		`{"case":`+caseJSON+`}`+"\n")
	var codes []string
	for _, text := range strings.Split(strings.TrimSpace(got.text), "\n") {
		var item struct {
			Type     string
			Index    int
			Complete bool
			Status   struct {
				Code       string
				Violations []struct{ Field string }
			}
		}
		if err := json.Unmarshal([]byte(text), &item); err != nil {
			t.Fatal(err)
		}
		fields := ""
		for _, v := range item.Status.Violations {
			fields += " " + v.Field
		}
		codes = append(codes, fmt.Sprintf("%s %d %s%s %v", item.Type, item.Index, item.Status.Code, fields, item.Complete))
	}
	want := []string{
		"item 0 OK false", "item 1 INVALID_ARGUMENT case.air.temperature_c case.air.temprature_c false",
		"item 2 INVALID_ARGUMENT case.gross_mass_kg false", "item 3 OK false", "summary 0  true",
	}
	if !slices.Equal(codes, want) {
		t.Errorf("got\n%s\nwant\n%s\n%s", strings.Join(codes, "\n"), strings.Join(want, "\n"), got.text)
	}
}

func TestEveryAnswerSaysWhereItComesFromAndIsFinite(t *testing.T) {
	h := whole(t)
	for _, c := range []struct{ method, path, body string }{
		{"POST", "/v1/takeoffs:compute", `{"case":` + caseJSON + `,"sections":["SECTION_FAILURES","SECTION_BEST_FIRING","SECTION_LIMITS","SECTION_WORTH"]}`},
		{"POST", "/v1/takeoffs:batchCompute", `{"cases":[` + caseJSON + `]}`},
		{"GET", "/v1/aircraftTypes/halbrook", ""},
		{"GET", "/v1/aircraftTypes", ""},
		{"GET", "/v1/sites/varrow/decks", ""},
	} {
		got := h.do(t, c.method, c.path, c.body)
		if got.code != 200 {
			t.Errorf("%s: %d %s", c.path, got.code, got.text)
			continue
		}
		provenance, _ := got.body(t)["provenance"].(map[string]any)
		for _, key := range []string{"model_version", "catalog_revision", "request_digest"} {
			if s, _ := provenance[key].(string); s == "" {
				t.Errorf("%s: no %s", c.path, key)
			}
		}
		again := h.do(t, c.method, c.path, c.body)
		if again.text != got.text {
			t.Errorf("%s: the same request gives other bytes", c.path)
		}
	}
}
