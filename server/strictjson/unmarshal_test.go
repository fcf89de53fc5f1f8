package strictjson

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// sound is a request without a fault, to be spoilt by the tests.
const sound = `{
  "case": {
    "id": "a", "aircraft_type": "aircraftTypes/heron", "flap": "half", "gross_mass_kg": 9000.5,
    "air": {"pressure_pa": 101325, "temperature_c": 0},
    "natural_wind": {"from_deg": 270, "speed_mps": 8e0, "source": "mast\u00e9"},
    "deck": "sites/cape/decks/main", "spot": "s1",
    "boosters": {"count": 2, "firing": {"mode": "FIRING_MODE_ROLLING", "delay_s": 2}, "grain_temperature_c": -5}
  },
  "sections": ["SECTION_FAILURES", "SECTION_WORTH"]
}`

func TestUnmarshalReadsASoundRequest(t *testing.T) {
	m := &bowrollv1.TakeoffsComputeRequest{}
	faults, err := Unmarshal([]byte(sound), m)
	if err != nil || len(faults) > 0 {
		t.Fatal(err, faults)
	}
	want := &bowrollv1.TakeoffsComputeRequest{
		Case: &bowrollv1.TakeoffCase{
			Id: "a", AircraftType: "aircraftTypes/heron", Flap: "half", GrossMassKg: proto.Float64(9000.5),
			Air:         &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(0)},
			NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(270), SpeedMps: proto.Float64(8), Source: "masté"},
			Deck:        "sites/cape/decks/main", Spot: "s1",
			Boosters: &bowrollv1.Boosters{
				Count: proto.Int32(2), GrainTemperatureC: proto.Float64(-5),
				Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(2)},
			},
		},
		Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_WORTH},
	}
	if !proto.Equal(m, want) {
		t.Errorf("got %v\nwant %v", m, want)
	}
}

// TestUnmarshalRefuses replaces one part of the sound request and expects one
// fault.
func TestUnmarshalRefuses(t *testing.T) {
	for _, c := range []struct {
		name, from, to             string
		field, rule, value, phrase string
	}{
		{"an unknown key three levels down", `"temperature_c": 0`, `"temprature_c": 0`,
			"case.air.temprature_c", "known", "0", "did you mean temperature_c?"},
		{"an unknown key whose value is deep", `"spot": "s1"`, `"spot": "s1", "sppot": {"a": [1, {"b": "}"}]}`,
			"case.sppot", "known", `{"a": [1, {"b": "}"}]}`, "did you mean spot?"},
		{"a key twice", `"spot": "s1"`, `"spot": "s1", "spot": "s2"`, "case.spot", "once", `"s2"`, "it stands twice"},
		{"a field under both names", `"spot": "s1"`, `"spot": "s1", "grossMassKg": 2`,
			"case.gross_mass_kg", "once", "2", `as "gross_mass_kg" and as "grossMassKg"`},
		{"NaN as a string", `"gross_mass_kg": 9000.5`, `"gross_mass_kg": "NaN"`,
			"case.gross_mass_kg", "type", `"NaN"`, "leave out what has no value"},
		{"infinity as a string", `"delay_s": 2`, `"delay_s": "-Infinity"`,
			"case.boosters.firing.delay_s", "type", `"-Infinity"`, ""},
		{"a number as a string", `"gross_mass_kg": 9000.5`, `"gross_mass_kg": "9000.5"`,
			"case.gross_mass_kg", "type", `"9000.5"`, "send it without quotes"},
		{"a number too large for a double", `"gross_mass_kg": 9000.5`, `"gross_mass_kg": 1e999`,
			"case.gross_mass_kg", "range", "1e999", "a finite number"},
		{"an integer out of range", `"count": 2`, `"count": 2147483648`,
			"case.boosters.count", "range", "2147483648", "2147483647"},
		{"a fraction for a whole number", `"count": 2`, `"count": 2.5`, "case.boosters.count", "range", "2.5", "whole"},
		{"an unknown enum name", `FIRING_MODE_ROLLING`, `FIRING_MODE_ROLING`,
			"case.boosters.firing.mode", "enum", "FIRING_MODE_ROLING", "did you mean FIRING_MODE_ROLLING?"},
		{"an enum as a number", `"FIRING_MODE_ROLLING"`, `2`, "case.boosters.firing.mode", "enum", "2", "send the name"},
		{"an unknown enum name in a list", `"SECTION_WORTH"`, `"WORTH"`, "sections[1]", "enum", "WORTH", "SECTION_WORTH"},
		{"null in a list", `"SECTION_WORTH"`, `null`, "sections[1]", "enum", "null", "SECTION_WORTH"},
		{"an object for a list", `["SECTION_FAILURES", "SECTION_WORTH"]`, `{}`, "sections", "type", "{}", "a list"},
		{"a number for an object", `{"pressure_pa": 101325, "temperature_c": 0}`, `15`, "case.air", "type", "15", "an object"},
		{"a number for a string", `"s1"`, `1`, "case.spot", "type", "1", "a string"},
		{"half a surrogate pair", `"s1"`, `"\ud83d"`, "case.spot", "utf8", "", "broken"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if !strings.Contains(sound, c.from) {
				t.Fatalf("%s is not in the sound request", c.from)
			}
			faults, err := Unmarshal([]byte(strings.Replace(sound, c.from, c.to, 1)), &bowrollv1.TakeoffsComputeRequest{})
			if err != nil {
				t.Fatal(err)
			}
			if len(faults) != 1 {
				t.Fatalf("got %d faults: %v", len(faults), faults)
			}
			f := faults[0]
			if f.GetField() != c.field || f.GetRule() != c.rule || f.GetValue() != c.value {
				t.Errorf("got %v", f)
			}
			if text := f.GetAllowed() + " " + f.GetHint(); !strings.Contains(text, c.phrase) {
				t.Errorf("%q is not in %q", c.phrase, text)
			}
		})
	}
}

func TestUnmarshalRefusesAnInstantWithoutOffset(t *testing.T) {
	for instant, good := range map[string]bool{
		"2031-04-05T04:30:00Z": true, "2031-04-05T06:30:00.5+02:00": true,
		"2031-04-05T04:30:00": false, "2031-04-05": false, "04:30": false,
	} {
		m := &bowrollv1.CyclesPlanRequest{}
		faults, err := Unmarshal([]byte(`{"cycle": {"start_time": "`+instant+`"}}`), m)
		if err != nil || (len(faults) == 0) != good {
			t.Errorf("%s: %v %v", instant, err, faults)
		}
		if !good && faults[0].GetField() != "cycle.start_time" {
			t.Errorf("%s: %v", instant, faults)
		}
	}
}

func TestUnmarshalFindsEverythingAtOnce(t *testing.T) {
	faults, err := Unmarshal([]byte(`{"case": {"air": {"temperature_c": "15", "pressure": 1}, "flap": 3}, "section": []}`),
		&bowrollv1.TakeoffsComputeRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range faults {
		got = append(got, f.GetField())
	}
	if s := strings.Join(got, " "); s != "case.air.temperature_c case.air.pressure case.flap section" {
		t.Error(s)
	}
}

func TestNullIsAbsent(t *testing.T) {
	m := &bowrollv1.TakeoffsComputeRequest{}
	faults, err := Unmarshal([]byte(`{"case": {"gross_mass_kg": null, "air": null, "flap": null}, "sections": null}`), m)
	if err != nil || len(faults) > 0 || !proto.Equal(m, &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{}}) {
		t.Error(m, faults, err)
	}
}

func TestUnmarshalSaysWhereTheTextStopsBeingJSON(t *testing.T) {
	for _, c := range []struct {
		text         string
		line, column int
	}{
		{"{\n  \"case\": {,}\n}", 2, 12},
		{"[]", 1, 1},
		{"  \"case\"", 1, 3},
		{`{"case": NaN}`, 1, 10},
		{`{"case": {}`, 1, 11},
		{`{"case": {}} {}`, 1, 14},
		{`{"case": {} // comment` + "\n}", 1, 13},
		{strings.Repeat(`{"case":`, 20000), 1, 80001},
	} {
		_, err := Unmarshal([]byte(c.text), &bowrollv1.TakeoffsComputeRequest{})
		var syntax *SyntaxError
		if !errors.As(err, &syntax) {
			t.Errorf("%.40q: %v", c.text, err)
			continue
		}
		if syntax.Line != c.line || syntax.Column != c.column {
			t.Errorf("%.40q: line %d column %d, want %d %d (%s)", c.text, syntax.Line, syntax.Column, c.line, c.column, syntax.Detail)
		}
	}
}

func TestUnmarshalStopsAfterEnoughFaults(t *testing.T) {
	text := `{"case": {` + strings.TrimSuffix(strings.Repeat(`"zzzz": 1,`, 100000), ",") + `}}`
	faults, err := Unmarshal([]byte(text), &bowrollv1.TakeoffsComputeRequest{})
	if err != nil || len(faults) != MaxFaults {
		t.Errorf("%d faults, %v", len(faults), err)
	}
}

func TestUnmarshalBoundsLists(t *testing.T) {
	text := `{"cases": [` + strings.Repeat(`{},`, MaxElements+5) + `{}]}`
	m := &bowrollv1.TakeoffsBatchComputeRequest{}
	faults, err := Unmarshal([]byte(text), m)
	if err != nil || len(faults) != 1 || faults[0].GetField() != "cases" || len(m.GetCases()) != MaxElements {
		t.Errorf("%d elements, %v, %v", len(m.GetCases()), faults, err)
	}
}
