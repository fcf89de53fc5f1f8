package cycle_test

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata/mutate"
)

const cycles = "../../testdata/cycles"

func read(t testing.TB, name string) []byte {
	t.Helper()
	source, err := os.ReadFile(filepath.Join(cycles, name))
	if err != nil {
		t.Fatal(err)
	}
	return source
}

func TestReadDawn(t *testing.T) {
	c, index, err := cycle.Read("dawn.yaml", read(t, "dawn.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if got := len(c.GetSorties()); got < 12 {
		t.Errorf("%d sorties, want 12 or more", got)
	}
	first := c.GetSorties()[0]
	if first.GetAircraftType() != "aircraftTypes/corvane" {
		t.Errorf("aircraft type %q, want the id completed to a name", first.GetAircraftType())
	}
	// A pound is 0.45359237 kg and a nautical mile 1852 m, both exactly.
	if got, want := first.GetGrossMassKg(), 12900*0.45359237; math.Abs(got-want) > 1e-9 {
		t.Errorf("gross mass %v kg, want %v", got, want)
	}
	if got, want := c.GetNaturalWind().GetSpeedMps(), 10*1852.0/3600; math.Abs(got-want) > 1e-12 {
		t.Errorf("wind %v m/s, want %v", got, want)
	}
	if got := index.Written("sorties[0].gross_mass_kg"); got != "12,900 lb" {
		t.Errorf("gross mass was written %q", got)
	}
	place, path := index.Find("sorties[0].gross_mass_kg")
	if path != "sorties[0].gross_mass" || place.Line == 0 || place.File != "dawn.yaml" {
		t.Errorf("gross mass found at %v, %q", place, path)
	}
	// What was not written is found at what holds it.
	if _, path := index.Find("sorties[0].aircraft.span_m"); path != "sorties[0].aircraft.span_m" {
		t.Errorf("absent field found at %q", path)
	}
}

func TestEveryFaultAtOnce(t *testing.T) {
	_, _, err := cycle.Read("bare-numbers.yaml", read(t, "faulty/bare-numbers.yaml"))
	faults, ok := err.(cycle.Faults)
	if !ok {
		t.Fatalf("error is %T, want Faults: %v", err, err)
	}
	want := []string{
		`4:13: start_time "2041-03-07T05:30:00": is not an instant with an offset`,
		`6:13: air.pressure "29.83": has no unit`,
		`7:3: air.temprature: is no key here; did you mean temperature?`,
		`10:10: natural_wind.speed "14 lb": is not read as a speed`,
		`11:8: natural_wind.lull: is blank`,
		`12:9: natural_wind.gust "1,7 kt": is not read as a speed`,
		`14:1: greatest_speed "greatest_speed": is written twice; first at bare-numbers.yaml:13:1`,
		`16:15: crews.team_count "2.5": must be a whole number; allowed: 1 to 100`,
		`24:5: sorties[0].gross_mass_kg: is no key here; write gross_mass, with the unit in the value`,
		`25:11: sorties[0].spot "3": must be text`,
		`26:15: sorties[0].priority "4000": is out of range; allowed: 1 to 1000`,
		`28:70: sorties[1].gross_mass "4 lb": is out of range; allowed: 110.2 lb to 1,322,773.6 lb`,
		`28:136: sorties[1].permitted_counts "2": must be a list`,
		`30:102: lots[0].expire_time "2041-03-31": is not an instant with an offset`,
		`30:127: lots[0].quarantined "yes": is neither; allowed: true or false`,
		`32:9: policy.legs "eihter": is not known; allowed: neither, stop, go, either; did you mean either?`,
	}
	if len(faults) != len(want) {
		t.Errorf("%d faults, want %d", len(faults), len(want))
	}
	for i, f := range faults {
		if i < len(want) && !strings.HasPrefix(f.Error(), "bare-numbers.yaml:"+want[i]) {
			t.Errorf("fault %d is\n  %v\nwant\n  bare-numbers.yaml:%s", i, f, want[i])
		}
	}
}

func TestRefusals(t *testing.T) {
	tests := []struct{ name, source, want string }{
		{"empty", "", "x.yaml: is empty"},
		{"comment only", "# nothing\n", "x.yaml: is empty"},
		{"list", "- a\n", "x.yaml:1:1: must hold keys"},
		{"two documents", "id: a\n---\nid: b\n", "a second document begins"},
		{"anchor", "id: &a b\n", "anchors and references are not read"},
		{"merge", "air: {<<: {pressure: 1 Pa}}\n", "is no plain key"},
		{"null", "id: ~\n", "id \"~\": is blank"},
		{"infinity", "policy: {run_factor: .inf}\n", "is not read as a ratio"},
		{"not a number", "policy: {run_factor: .nan}\n", "is not read as a ratio"},
		{"output only", "sorties: [{provenance: {}}]\n", "is no key here"},
		{"a key of two lines", "\"a\\nb\": 1\n", `"a\nb": is no key here`},
		{"syntax", "id: [\n", "not readable as YAML"},
		{"tabs", "air:\n\tpressure: 1 Pa\n", "not readable as YAML"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, _, err := cycle.Read("x.yaml", []byte(tt.source))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error is %v, want it to say %q", err, tt.want)
			}
		})
	}
}

func TestFlagsTakeTheFilesPlace(t *testing.T) {
	document, err := cycle.Parse("case.yaml", []byte("flap: takeoff\ngross_mass: 12,000 lb\nheadwind: 20 kt\navailable: 400 ft\nair: {pressure: 1013 hPa, temperature: 15 degC}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for path, text := range map[string]string{"headwind": "10 m/s", "air.temperature": "30", "boosters.firing.mode": "best"} {
		document.Set(path, text, "--"+path)
	}
	into := &bowrollv1.TakeoffCase{}
	_, err = document.Decode(into)
	if into.GetHeadwindMps() != 10 || into.GetBoosters().GetFiring().GetMode() != bowrollv1.FiringMode_FIRING_MODE_BEST {
		t.Errorf("flags did not take their place: %v", into)
	}
	var places []string
	for _, f := range err.(cycle.Faults) {
		places = append(places, f.Place.String()+" "+f.Path)
	}
	want := []string{"--air.temperature air.temperature", "--boosters.firing.mode boosters.count", "--boosters.firing.mode boosters.grain_temperature"}
	if !slices.Equal(places, want) {
		t.Errorf("faults at %q, want %q", places, want)
	}
}

func TestEveryPathThatCannotBeSetIsTold(t *testing.T) {
	document, err := cycle.Parse("case.yaml", []byte("aircraft_type: corvane\ngross_mass: 12,000 lb\nheadwind: 20 kt\n"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"headwind.speed", "gross_mass.value", "flap", "flap.name", "headwind[0].speed"} {
		document.Set(path, "1 kt", "--set "+path)
	}
	document.Refuse(cycle.Fault{Place: cycle.Place{Flag: "--air"}, Problem: "is thin"}, "air")
	_, err = document.Decode(&bowrollv1.TakeoffCase{})
	for _, want := range []string{
		"--set headwind.speed: headwind holds no keys, so headwind.speed cannot be set",
		"--set gross_mass.value: gross_mass holds no keys, so gross_mass.value cannot be set",
		"--set flap.name: flap holds no keys, so flap.name cannot be set",
		"--set headwind[0].speed: headwind is no list, so headwind[0].speed cannot be set",
		"--air: is thin",
	} {
		if err == nil || !strings.Contains(err.Error()+"\n", want+"\n") {
			t.Errorf("error is %v, want it to say %q", err, want)
		}
	}
	if err != nil && strings.Contains(err.Error(), "air: is missing") {
		t.Errorf("what was refused is called missing too: %v", err)
	}
}

func TestNearest(t *testing.T) {
	known := []string{"headwind", "crosswind", "spot", "deck"}
	for word, want := range map[string]string{"haedwind": "headwind", "spto": "spot", "croswind": "crosswind", "id": "", "priority": ""} {
		if got, _ := cycle.Nearest(word, known); got != want {
			t.Errorf("Nearest(%q) = %q, want %q", word, got, want)
		}
	}
}

// FuzzRead holds any input to this: no panic, an error is a list of faults at
// places, and what was read without fault reads the same again. The seeds are
// long: give go test -fuzzminimizetime 10x, or it spends its time shortening them.
func FuzzRead(f *testing.F) {
	for _, name := range []string{"dawn.yaml", "faulty/bare-numbers.yaml", "faulty/unreadable.yaml"} {
		f.Add(read(f, name))
	}
	f.Add([]byte("id: a\nsorties: [{id: b, launch: +1 min}]\n"))
	f.Add([]byte("flap: takeoff\nheadwind: -4 kt\nboosters: {count: 2, firing: {mode: on-brakes, reaction: 0.5 s}}\n"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, source []byte) {
		if document, err := cycle.Parse("fuzz.yaml", source); err == nil {
			document.Set("air.temperature", string(source[:min(len(source), 20)]), "--temperature") // any text may follow a flag
			_, _ = document.Decode(&bowrollv1.TakeoffCase{})
		}
		c, index, err := cycle.Read("fuzz.yaml", source)
		if err != nil {
			faults, ok := err.(cycle.Faults)
			if !ok || len(faults) == 0 {
				t.Fatalf("error is %T: %v", err, err)
			}
			for _, fault := range faults {
				if fault.Problem == "" || fault.Place.File != "fuzz.yaml" {
					t.Fatalf("fault without a problem or a place: %+v", fault)
				}
			}
			return
		}
		index.Find("sorties[9].gross_mass_kg")
		again, _, err := cycle.Read("fuzz.yaml", source)
		if err != nil || !proto.Equal(c, again) {
			t.Fatalf("read twice, read differently: %v", err)
		}
	})
}
