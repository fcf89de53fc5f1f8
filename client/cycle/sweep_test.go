package cycle_test

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata/mutate"
)

func readSweep(t testing.TB, name string) []byte {
	t.Helper()
	source, err := os.ReadFile(filepath.Join("../../testdata/sweeps", name))
	if err != nil {
		t.Fatal(err)
	}
	return source
}

// TestReadSweep holds what a file says against the spec: fields by their names in
// the contract, numbers in its units, a case that may lack what the axes set.
func TestReadSweep(t *testing.T) {
	got, index, err := cycle.ReadSweep("winds.yaml", readSweep(t, "winds.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	spec := got.Spec
	if got.ID != "winds" || spec.GetMethod() != bowrollv1.SweepMethod_SWEEP_METHOD_GRID || len(spec.GetAxes()) != 3 || spec.RowCount != nil || spec.GetCase().GrossMassKg != nil {
		t.Errorf("read %+v", got)
	}
	mass, warmth, wind := spec.GetAxes()[0], spec.GetAxes()[1], spec.GetAxes()[2]
	if mass.GetField() != "gross_mass_kg" || math.Abs(mass.GetRange().GetFirstValue()-12000*0.45359237) > 1e-9 || mass.GetRange().GetCount() != 11 {
		t.Errorf("mass is %v", mass)
	}
	if warmth.GetField() != "air.temperature_c" || len(warmth.GetValues()) != 4 || warmth.GetValues()[1] != 15 {
		t.Errorf("warmth is %v", warmth)
	}
	if wind.GetField() != "headwind_mps" || wind.GetRange().GetFirstValue() != 0 {
		t.Errorf("wind is %v", wind)
	}
	for field, want := range map[string]string{
		"axes[0].range.last_value": "axes[0].to", "axes[2].range.count": "axes[2].count", "axes[1].values[3]": "axes[1].values[3]",
		"axes[0]": "axes[0]", "case.boosters.count": "case.boosters.count",
	} {
		if place, path := index.Find(field); path != want || place.Line == 0 {
			t.Errorf("%s is found at %v as %s, want %s", field, place, path, want)
		}
	}
}

func TestReadSweepDrawsAndWords(t *testing.T) {
	got, index, err := cycle.ReadSweep("doubt.yaml", readSweep(t, "doubt.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	grain := got.Spec.GetAxes()[2]
	d := grain.GetDistribution()
	if grain.GetField() != "boosters.grain_temperature_c" || d.GetShape() != bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL ||
		d.GetLeastValue() != 5 || d.GetGreatestValue() != 40 || d.GetMiddleValue() != 20 || d.GetSigma() != 5 {
		t.Errorf("grain is %v", grain)
	}
	if _, path := index.Find("axes[2].distribution.sigma"); path != "axes[2].sigma" {
		t.Errorf("sigma is at %s", path)
	}
	if got.Spec.GetRowCount() != 3000 || got.Spec.GetSeed() != 7 || len(got.Spec.GetColumns()) != 4 {
		t.Errorf("read %v", got.Spec)
	}
	words, _, err := cycle.ReadSweep("words.yaml", []byte(`
case: {flap: takeoff, gross_mass: 6 t, air: {pressure: 1013 hPa, temperature: 15 degC}, deck: sites/varrow/decks/main, headwind: 9 m/s, boosters: {booster_type: emberlin-6, grain_temperature: 20 degC}}
axes:
  - {field: aircraft_type, values: [corvane, halbrook]}
  - {field: boosters.firing.mode, values: [best, on-brakes]}
  - {field: boosters.count, from: 1, to: 3, count: 3}
  - {field: spot, values: [s5, s6]}
method: grid
`))
	if err != nil {
		t.Fatal(err)
	}
	axes := words.Spec.GetAxes()
	if axes[0].GetWords()[1] != "aircraftTypes/halbrook" || axes[1].GetWords()[1] != "FIRING_MODE_ON_BRAKES" || axes[2].GetRange().GetLastValue() != 3 || axes[3].GetWords()[0] != "s5" {
		t.Errorf("read %v", axes)
	}
}

// TestReadSweepFaults wants every fault of a file at once.
func TestReadSweepFaults(t *testing.T) {
	_, _, err := cycle.ReadSweep("several.yaml", readSweep(t, "faulty/several.yaml"))
	var faults cycle.Faults
	if !errors.As(err, &faults) || len(faults) != 8 {
		t.Fatalf("faults are %v", err)
	}
	const rest = "case: {aircraft_type: corvane, flap: takeoff, gross_mass: 6 t, air: {pressure: 1013 hPa, temperature: 15 degC}, deck: sites/varrow/decks/main}\nmethod: grid\n"
	for axis, want := range map[string]string{
		"[]":                  "", // the service wants one at least
		"{field: headwind}":   "axes: must be a list",
		"[{field: headwind}]": "axes[0]: does not say how it varies",
		"[{values: [1 kt]}]":  "axes[0].field: is missing",
		"[{field: headwind_mps, values: [1 kt]}]":                                 "write headwind, with the unit in its values",
		"[{field: headwind, values: [1 kt], count: 3}]":                           "axes[0].count \"3\": does not go with values",
		"[{field: headwind, from: 1 kt, count: 3}]":                               "axes[0].to: is missing",
		"[{field: headwind, values: []}]":                                         "axes[0].values: must be a list",
		"[{field: headwind, values: [200 kt]}]":                                   "axes[0].values[0] \"200 kt\": is out of range",
		"[{field: headwind, values: 3 kt, values: 4 kt}]":                         "axes[0].values: is written twice",
		"[{field: headwind, distribution: gaussian, least: 1 kt}]":                "uniform, normal, triangular",
		"[{field: boosters.count, distribution: uniform, least: 1, greatest: 3}]": "counts, and is not drawn",
		"[{field: boosters.firing.mode, values: [rollin]}]":                       "did you mean rolling?",
		"[{field: sorties, values: [1]}]":                                         "is nothing that a case holds",
		"[&a {field: headwind, values: [1 kt]}]":                                  "anchors and references are not read",
	} {
		_, _, err := cycle.ReadSweep("a.yaml", []byte(rest+"axes: "+axis+"\n"))
		if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%s: %v, want %q", axis, err, want)
		}
	}
}

// FuzzReadSweep holds any input to this: no panic, an error is a list of faults at
// places, and what was read reads the same again.
func FuzzReadSweep(f *testing.F) {
	for _, name := range []string{"winds.yaml", "doubt.yaml", "faulty/several.yaml"} {
		f.Add(readSweep(f, name))
	}
	f.Add([]byte("axes: [{feild: spto, vales: [s5]}]\ncase: {}\n"))
	mutate.More(f)
	f.Fuzz(func(t *testing.T, source []byte) {
		got, index, err := cycle.ReadSweep("fuzz.yaml", source)
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
		index.Find("axes[9].range.first_value")
		again, _, err := cycle.ReadSweep("fuzz.yaml", source)
		if err != nil || !proto.Equal(got.Spec, again.Spec) {
			t.Fatalf("read twice, read differently: %v", err)
		}
	})
}
