package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// The planner cases whose point is what the service says and refuses. Each goes
// through gRPC and through JSON and must be answered alike.

// referenceCase is the aircraft REF-1 of the planner cases with two units UNIT-A,
// given inline, in 28 kt of headwind.
func referenceCase() *bowrollv1.TakeoffCase {
	f := proto.Float64
	return &bowrollv1.TakeoffCase{
		Id: "ref-1",
		Aircraft: &bowrollv1.AircraftType{
			WingAreaM2: f(30), SpanM: f(15), Oswald: f(0.8), WingHeightM: f(0), LiftoffFactor: f(1.10), RotationTimeS: f(0),
			Flaps:       []*bowrollv1.FlapSetting{{Id: "takeoff", ClMax: f(1.9), ClRoll: f(0.5), Cd0: f(0.09)}},
			Thrust:      &bowrollv1.ThrustTable{AirspeedMps: []float64{0, 1 / 0.0075}, ThrustN: []float64{18000, 0}, DensityExponent: f(1)},
			LeastMassKg: f(4000), GreatestMassKg: f(9500), YawCoefficientLimit: f(12.32 / 450),
			Stations: []*bowrollv1.Station{
				{Id: "p1", Side: bowrollv1.Side_SIDE_PORT, LateralArmM: f(0.9), AftArmM: f(0)},
				{Id: "s1", Side: bowrollv1.Side_SIDE_STARBOARD, LateralArmM: f(0.9), AftArmM: f(0)},
			},
			Loadings: []*bowrollv1.Loading{{UnitCount: proto.Int32(2), Stations: []string{"p1", "s1"}}},
		},
		Flap: "takeoff", GrossMassKg: f(5500),
		Air:         &bowrollv1.Air{PressureAltitudeM: f(0), TemperatureC: f(15)},
		HeadwindMps: f(28 * 0.514444), AvailableM: f(180),
		Surface: &bowrollv1.Surface{RollingFriction: f(0.03), BrakingFriction: f(0.35)},
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), GrainTemperatureC: f(15),
			Type: &bowrollv1.BoosterType{
				TraceS: []float64{0, 4}, TraceN: []float64{11000, 11000}, LoadedMassKg: f(75), PropellantMassKg: f(22),
				PressureSensitivityPerK: f(0.002), ReferenceTemperatureC: f(15), CantDeg: f(0), SplayDeg: f(0), IgnitionDelayS: f(0.15), DragAreaM2: f(0),
			},
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: f(2.427)},
		},
		Policy: &bowrollv1.Policy{RunFactor: f(1)},
	}
}

// asked is one request sent in both forms.
type asked struct {
	takeoff *bowrollv1.Takeoff
	faults  map[string]*bowrollv1.Violation // by path below "case."
}

// both computes a case over gRPC and over JSON, holds the two answers together,
// and returns them.
func both(t *testing.T, h *harness, c *bowrollv1.TakeoffCase, sections ...bowrollv1.Section) asked {
	t.Helper()
	request := &bowrollv1.TakeoffsComputeRequest{Case: c, Sections: sections}
	over, err := h.takeoffs.Compute(context.Background(), request)
	text, marshalErr := wireText(request)
	if marshalErr != nil {
		t.Fatal(marshalErr)
	}
	got := h.post(t, "/v1/takeoffs:compute", text)
	if err == nil {
		if got.code != 200 {
			t.Fatalf("JSON refuses what gRPC answers: %d %s", got.code, got.text)
		}
		body := got.body(t)
		if run, _ := body["run_m"].(float64); run != over.GetRunM() {
			t.Errorf("run %v over JSON, %v over gRPC", body["run_m"], over.GetRunM())
		}
		if body["outcome"] != over.GetOutcome().String() {
			t.Errorf("outcome %v over JSON, %v over gRPC", body["outcome"], over.GetOutcome())
		}
		return asked{takeoff: over}
	}
	wantCode(t, err, codes.InvalidArgument)
	out := asked{faults: map[string]*bowrollv1.Violation{}}
	for _, v := range refusal.Status(err).GetViolations() {
		out.faults[strings.TrimPrefix(v.GetField(), "case.")] = v
	}
	if got.code != 400 {
		t.Fatalf("JSON answers what gRPC refuses: %d %.300s", got.code, got.text)
	}
	for field := range out.faults {
		if !strings.Contains(got.text, `"case.`+field+`"`) && field != "case" {
			t.Errorf("%s is not named over JSON: %s", field, got.text)
		}
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %g, want %g within %g", what, got, want, tolerance)
	}
}

// D40: pounds entered as kilograms, kilograms taken for pounds.
func TestPlannerD40MassSlips(t *testing.T) {
	h := whole(t)
	c := referenceCase()
	near(t, "as it is", both(t, h, c).takeoff.GetRunM(), 80.1, 0.4)
	for entered, slip := range map[float64]string{12125.4: "looks like pounds", 2494.8: "kilograms taken for pounds"} {
		c.GrossMassKg = proto.Float64(entered)
		got := both(t, h, c)
		v := got.faults["gross_mass_kg"]
		if v == nil || !strings.Contains(v.GetHint(), slip) || !strings.Contains(v.GetAllowed(), "4000 to 9500 kg") || len(got.faults) != 1 {
			t.Errorf("%g: %v", entered, got.faults)
		}
	}
}

// D41: knots read as metres a second. Beside a deck's ceiling the slip is seen;
// the field's name carries the unit in any case.
func TestPlannerD41WindSlips(t *testing.T) {
	h := whole(t)
	c := soundCase(t)
	c.HeadwindMps = proto.Float64(28)
	got := both(t, h, c)
	if v := got.faults["headwind_mps"]; v == nil || !strings.Contains(v.GetHint(), "looks like knots") || len(got.faults) != 1 {
		t.Errorf("28 kt sent as 28 m/s: %v", got.faults)
	}
	c.HeadwindMps = proto.Float64(28 * 1852.0 / 3600)
	if got := both(t, h, c); got.takeoff.GetRunM() <= 0 {
		t.Errorf("14.4 m/s: %v", got.takeoff.GetLimiting())
	}
	// A field without its unit does not exist.
	answer := h.post(t, "/v1/takeoffs:compute", `{"case":`+strings.Replace(caseJSON, `"headwind_mps":0`, `"headwind":28`, 1)+`}`)
	if answer.code != 400 || !strings.Contains(answer.text, "case.headwind") || !strings.Contains(answer.text, "did you mean headwind_mps?") {
		t.Errorf("a bare headwind: %d %s", answer.code, answer.text)
	}
}

// D43: numbers that are none, far too large, or not given.
func TestPlannerD43NotNumbers(t *testing.T) {
	h := whole(t)
	set := map[string]func(*bowrollv1.TakeoffCase, *float64){
		"gross_mass_kg":           func(c *bowrollv1.TakeoffCase, v *float64) { c.GrossMassKg = v },
		"headwind_mps":            func(c *bowrollv1.TakeoffCase, v *float64) { c.HeadwindMps = v },
		"air.temperature_c":       func(c *bowrollv1.TakeoffCase, v *float64) { c.Air.TemperatureC = v },
		"boosters.firing.delay_s": func(c *bowrollv1.TakeoffCase, v *float64) { c.Boosters.Firing.DelayS = v },
		"available_m":             func(c *bowrollv1.TakeoffCase, v *float64) { c.AvailableM = v },
	}
	for field, to := range set {
		for _, value := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e308} {
			c := referenceCase()
			to(c, &value)
			_, err := h.takeoffs.Compute(context.Background(), &bowrollv1.TakeoffsComputeRequest{Case: c})
			wantCode(t, err, codes.InvalidArgument)
			if got := violations(err); !slices.ContainsFunc(got, func(v string) bool { return strings.HasPrefix(v, "case."+field+" ") }) {
				t.Errorf("%s of %g: %v", field, value, got)
			}
			for _, v := range refusal.Status(err).GetViolations() {
				if v.GetField() == "case."+field && (v.GetValue() == "" || v.GetAllowed() == "") {
					t.Errorf("%s of %g: value and what is allowed are not named: %v", field, value, v)
				}
			}
		}
		// JSON writes them as texts, or as nothing.
		for _, written := range []string{`"NaN"`, `"Infinity"`, `"-Infinity"`, `1e308`, `""`, `null`} {
			text := spoiltJSON(t, referenceCase(), field, written)
			got := h.post(t, "/v1/takeoffs:compute", text)
			if got.code != 400 || got.body(t)["code"] != "INVALID_ARGUMENT" {
				t.Errorf("%s of %s: %d %.300s", field, written, got.code, got.text)
			}
		}
		// Other items of a batch are answered.
		bad, sound := referenceCase(), referenceCase()
		bad.Id, sound.Id = "bad", "sound"
		to(bad, proto.Float64(math.NaN()))
		batch, err := h.takeoffs.BatchCompute(context.Background(), &bowrollv1.TakeoffsBatchComputeRequest{Cases: []*bowrollv1.TakeoffCase{bad, sound}})
		if err != nil {
			t.Fatal(err)
		}
		if batch.GetItems()[0].GetTakeoff() != nil || batch.GetItems()[1].GetTakeoff() == nil {
			t.Errorf("%s: items %v", field, batch.GetSummary())
		}
	}
	// Minus zero is zero.
	c := referenceCase()
	c.HeadwindMps = proto.Float64(0)
	calm := both(t, h, c).takeoff
	c.HeadwindMps = proto.Float64(math.Copysign(0, -1))
	minus := both(t, h, c).takeoff
	if minus.GetRunM() != calm.GetRunM() || math.Signbit(minus.GetWind().GetHeadwindMps()) {
		t.Errorf("minus zero: run %v m in %v, calm %v m", minus.GetRunM(), minus.GetWind(), calm.GetRunM())
	}
}

// spoiltJSON is a request with one field of its case written as given.
func spoiltJSON(t *testing.T, c *bowrollv1.TakeoffCase, field, written string) string {
	t.Helper()
	text, err := wireText(&bowrollv1.TakeoffsComputeRequest{Case: c})
	if err != nil {
		t.Fatal(err)
	}
	var root map[string]any
	if err := json.Unmarshal([]byte(text), &root); err != nil {
		t.Fatal(err)
	}
	at := root["case"].(map[string]any)
	parts := strings.Split(field, ".")
	for _, part := range parts[:len(parts)-1] {
		at = at[part].(map[string]any)
	}
	at[parts[len(parts)-1]] = json.RawMessage(written)
	out, err := json.Marshal(root)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// D44: names of every kind come back unchanged; what cannot be seen is refused,
// and so is a name that only looks like another.
func TestPlannerD44HostileNames(t *testing.T) {
	h := whole(t)
	named := func(name string) *bowrollv1.TakeoffCase {
		c := referenceCase()
		c.Aircraft.DisplayName, c.Surface.Source = name, name
		return c
	}
	for _, name := range []string{"Hærøy 甲板 🛩", "A/1:2", "  trailing  ", "\u00e9", strings.Repeat("x", 200)} {
		c := named(name)
		answer := both(t, h, c)
		if answer.takeoff == nil {
			t.Errorf("%q is refused: %v", name, answer.faults)
		}
	}
	for name, rule := range map[string]string{
		"\u202eevil": "control-character", "A\x00B": "control-character", "two\nlines": "control-character",
		"e\u0301": "nfc", strings.Repeat("x", 10000): "length",
	} {
		got := both(t, h, named(name))
		v := got.faults["aircraft.display_name"]
		if v.GetRule() != rule || got.faults["surface.source"].GetRule() != rule {
			t.Errorf("%.20q: %v", name, got.faults)
		}
		if strings.ContainsAny(v.GetValue(), "\x00\n\u202e") {
			t.Errorf("%.20q is shown as %q", name, v.GetValue())
		}
	}
	// Ids go into paths and are of a small alphabet.
	for _, id := range []string{"A1", "1a", "a_b", "a/b", "é", strings.Repeat("a", 64)} {
		c := referenceCase()
		c.Id = id
		if got := both(t, h, c); got.faults["id"] == nil {
			t.Errorf("the id %.20q passes", id)
		}
	}
}

// D45: the same id twice in a batch fails the second item and names both. What a
// request_id does is held by the tests of the store and of stock.
func TestPlannerD45RepeatedIds(t *testing.T) {
	h := whole(t)
	var cases []*bowrollv1.TakeoffCase
	for range 2 {
		c := referenceCase()
		c.Id = "a1"
		cases = append(cases, c)
	}
	request := &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases}
	over, err := h.takeoffs.BatchCompute(context.Background(), request)
	if err != nil {
		t.Fatal(err)
	}
	first, second := over.GetItems()[0], over.GetItems()[1]
	if first.GetStatus().GetCode() != "OK" || first.GetTakeoff() == nil {
		t.Errorf("the first of the two: %v", first.GetStatus())
	}
	v := second.GetStatus().GetViolations()
	if second.GetStatus().GetCode() != "INVALID_ARGUMENT" || second.GetTakeoff() != nil || len(v) != 1 ||
		v[0].GetField() != "cases[1].id" || !strings.Contains(v[0].GetHint(), "cases[0]") {
		t.Errorf("the second of the two: %v", second.GetStatus())
	}
	text, err := wireText(request)
	if err != nil {
		t.Fatal(err)
	}
	got := h.post(t, "/v1/takeoffs:batchCompute", text)
	if got.code != 200 || !strings.Contains(got.text, `"cases[1].id"`) || !strings.Contains(got.text, "cases[0] has it") {
		t.Errorf("over JSON: %d %.300s", got.code, got.text)
	}
}

// The behaviour that other planner cases ask for, as the service says it.
func TestPlannerCasesAreSaidInWords(t *testing.T) {
	h := whole(t)
	for _, row := range []struct {
		id      string
		outcome bowrollv1.Outcome
		words   []string
		change  func(*bowrollv1.TakeoffCase)
	}{
		{"D13", bowrollv1.Outcome_OUTCOME_GETS_OFF, []string{"relies on the stop leg"}, func(*bowrollv1.TakeoffCase) {}},
		{"D21", bowrollv1.Outcome_OUTCOME_NEVER_GETS_OFF, []string{"64.1 m/s", "65.4 m/s"}, func(c *bowrollv1.TakeoffCase) {
			c.GrossMassKg, c.HeadwindMps, c.Boosters = proto.Float64(9500), proto.Float64(0), nil
			c.Air.PressureAltitudeM, c.Air.TemperatureC = proto.Float64(1500), proto.Float64(45)
		}},
		{"D22", bowrollv1.Outcome_OUTCOME_CANNOT_CLIMB, []string{"Cannot climb"}, func(c *bowrollv1.TakeoffCase) {
			c.GrossMassKg, c.HeadwindMps, c.Boosters = proto.Float64(7500), proto.Float64(0), nil
			c.Air.PressureAltitudeM, c.Air.TemperatureC = proto.Float64(1500), proto.Float64(45)
		}},
		{"D23", bowrollv1.Outcome_OUTCOME_NEVER_GETS_OFF, nil, func(c *bowrollv1.TakeoffCase) {
			c.HeadwindMps, c.Aircraft.Thrust.ThrustN = proto.Float64(0), []float64{0, 0}
			c.Boosters.Firing.DelayS = proto.Float64(0)
		}},
		{"D25", bowrollv1.Outcome_OUTCOME_NEVER_FIRES, []string{"the units would light in the climb"}, func(c *bowrollv1.TakeoffCase) {
			c.AvailableM, c.Boosters.Firing.DelayS = proto.Float64(300), proto.Float64(20)
		}},
	} {
		c := referenceCase()
		row.change(c)
		got := both(t, h, c, bowrollv1.Section_SECTION_FAILURES).takeoff
		if got.GetOutcome() != row.outcome {
			t.Errorf("%s: outcome %v: %s", row.id, got.GetOutcome(), got.GetLimiting())
		}
		for _, word := range row.words {
			if !strings.Contains(got.GetLimiting(), word) {
				t.Errorf("%s: %q does not say %q", row.id, got.GetLimiting(), word)
			}
		}
	}
	// D12: burn-out in rotation is remarked; D23: absent thrust is refused, zero
	// is computed.
	c := referenceCase()
	c.Aircraft.RotationTimeS = proto.Float64(1)
	got := both(t, h, c).takeoff
	if !slices.ContainsFunc(got.GetFindings(), func(f *bowrollv1.Finding) bool {
		return f.GetOutcome() == bowrollv1.Outcome_OUTCOME_BURN_OUT_IN_ROTATION
	}) {
		t.Errorf("D12: %v", got.GetFindings())
	}
	c = referenceCase()
	c.Aircraft.Thrust = nil
	if got := both(t, h, c); len(got.faults) == 0 {
		t.Error("D23: an aircraft without thrust is answered")
	}
	// D09: 45 degC at 1 500 m is inside sane limits; units that may not be fired
	// so hot are refused.
	c = referenceCase()
	c.Air.PressureAltitudeM, c.Air.TemperatureC = proto.Float64(1500), proto.Float64(45)
	c.Boosters.GrainTemperatureC = proto.Float64(45)
	c.Boosters.Type.FiringLeastC, c.Boosters.Type.FiringGreatestC = proto.Float64(-10), proto.Float64(40)
	if got := both(t, h, c); got.faults["boosters.grain_temperature_c"].GetRule() != "firing-limits" || len(got.faults) != 1 {
		t.Errorf("D09: %v", got.faults)
	}
}

// wireText is a request in the JSON of the gateway's callers.
func wireText(m proto.Message) (string, error) {
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return "", fmt.Errorf("%T: %w", m, err)
	}
	return string(text), nil
}
