package sheet_test

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"bowroll/client/cycle"
	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// load reads an answer as the service gave it.
func load[T proto.Message](t *testing.T, name string, into T) T {
	t.Helper()
	source, err := os.ReadFile(filepath.Join("testdata", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := protojson.Unmarshal(source, into); err != nil {
		t.Fatal(err)
	}
	return into
}

// cycleOf reads a cycle file.
func cycleOf(t *testing.T, file string) *bowrollv1.Cycle {
	t.Helper()
	source, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	asked, _, err := cycle.Read(file, source)
	if err != nil {
		t.Fatal(err)
	}
	return asked
}

// TestSheets holds every sheet against the text that was looked at and found
// good. UPDATE_GOLDEN=1 writes the texts anew; look at them before committing.
func TestSheets(t *testing.T) {
	source, err := os.ReadFile("testdata/plan.yaml")
	if err != nil {
		t.Fatal(err)
	}
	asked, _, err := cycle.Read("plan.yaml", source)
	if err != nil {
		t.Fatal(err)
	}
	worked := cycleOf(t, "testdata/worked.yaml")
	plan := load(t, "plan", &bowrollv1.CyclePlan{})
	nothing := proto.Clone(plan).(*bowrollv1.CyclePlan)
	nothing.Launches, nothing.Optimal, nothing.Proof, nothing.Bound = nil, false, bowrollv1.Proof_PROOF_FEASIBLE, 95
	nothing.Objective.PriorityLaunched = 0
	takeoff := func(name string) func(io.Writer, sheet.Style) error {
		return func(w io.Writer, style sheet.Style) error {
			return sheet.Takeoff(w, style, "corvane, 2 units emberlin-6, spot s3", load(t, name, &bowrollv1.Takeoff{}))
		}
	}
	tests := []struct {
		name   string
		width  int
		units  quantity.System
		colour bool
		draw   func(io.Writer, sheet.Style) error
	}{
		{"plan-80", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, asked, plan) }},
		{"plan-60", 60, quantity.Trade, false, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, asked, plan) }},
		{"plan-140", 140, quantity.Trade, false, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, asked, plan) }},
		{"plan-si", 80, quantity.SI, false, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, asked, plan) }},
		{"plan-colour", 80, quantity.Trade, true, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, asked, plan) }},
		{"plan-alone", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, nil, plan) }},
		{"plan-nothing", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error { return sheet.Plan(w, s, asked, nothing) }},
		{"worked-80", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Plan(w, s, worked, load(t, "worked", &bowrollv1.CyclePlan{}))
		}},
		{"worked-140", 140, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Plan(w, s, worked, load(t, "worked", &bowrollv1.CyclePlan{}))
		}},
		{"worked-alone", 80, quantity.SI, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Plan(w, s, nil, load(t, "worked", &bowrollv1.CyclePlan{}))
		}},
		{"worked-kept", 80, quantity.Trade, true, func(w io.Writer, s sheet.Style) error {
			return sheet.Plan(w, s, worked, load(t, "worked-kept", &bowrollv1.CyclePlan{}))
		}},
		{"compare-80", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Compare(w, s, cycleOf(t, "../../testdata/cycles/dawn.yaml"), load(t, "compare", &bowrollv1.CyclesCompareResponse{}))
		}},
		{"compare-si", 120, quantity.SI, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Compare(w, s, nil, load(t, "compare", &bowrollv1.CyclesCompareResponse{}))
		}},
		{"fleet", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Fleet(w, s, nil, load(t, "fleet", &bowrollv1.FleetPlan{}))
		}},
		{"gets-off", 80, quantity.Trade, false, takeoff("gets-off")},
		{"gets-off-si", 80, quantity.SI, false, takeoff("gets-off")},
		{"too-long", 80, quantity.Trade, false, takeoff("too-long")},
		{"never", 80, quantity.Trade, false, takeoff("never")},
		{"firing", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.FoundFiring(w, s, "corvane, 2 units emberlin-6, spot s3", load(t, "firing", &bowrollv1.TakeoffsFindFiringResponse{}))
		}},
		{"firing-si", 60, quantity.SI, false, func(w io.Writer, s sheet.Style) error {
			return sheet.FoundFiring(w, s, "", load(t, "firing", &bowrollv1.TakeoffsFindFiringResponse{}))
		}},
		{"wind", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.WindLimits(w, s, "corvane", load(t, "wind", &bowrollv1.WindLimitsComputeResponse{}))
		}},
		{"checks-80", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Checks(w, s, load(t, "checks", &bowrollv1.ModelCheckResponse{}))
		}},
		{"checks-60", 60, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Checks(w, s, load(t, "checks", &bowrollv1.ModelCheckResponse{}))
		}},
		{"checks-140", 140, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Checks(w, s, load(t, "checks", &bowrollv1.ModelCheckResponse{}))
		}},
		{"vectors", 80, quantity.Trade, false, func(w io.Writer, s sheet.Style) error {
			return sheet.Vectors(w, s, load(t, "vectors", &bowrollv1.ModelCheckVectorsResponse{}))
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got bytes.Buffer
			if err := tt.draw(&got, sheet.Style{Width: tt.width, Units: tt.units, Colour: tt.colour}); err != nil {
				t.Fatal(err)
			}
			for i, line := range strings.Split(got.String(), "\n") {
				if utf8.RuneCountInString(line) > tt.width && !tt.colour {
					t.Errorf("line %d is wider than %d: %q", i+1, tt.width, line)
				}
			}
			golden(t, tt.name, got.String())
		})
	}
}

// golden holds a sheet against the text that was looked at. UPDATE_GOLDEN=1 writes
// it anew.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name+".txt")
	if os.Getenv("UPDATE_GOLDEN") != "" {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the sheet is not what %s holds:\n%s", file, got)
	}
}

// What is missing from an answer is drawn as a dash, never as a zero, and never
// stops the sheet.
func TestEmptyAnswers(t *testing.T) {
	style := sheet.Style{Width: 80, Units: quantity.Trade}
	for name, draw := range map[string]func(io.Writer) error{
		"plan": func(w io.Writer) error {
			return sheet.Plan(w, style, &bowrollv1.Cycle{Deck: "main"}, &bowrollv1.CyclePlan{
				Launches: []*bowrollv1.PlannedLaunch{{Sortie: "a"}}, Held: []*bowrollv1.HeldSortie{{Sortie: "b"}},
				Lots: []*bowrollv1.LotUse{{Lot: "l"}}})
		},
		"compare": func(w io.Writer) error {
			return sheet.Compare(w, style, nil, &bowrollv1.CyclesCompareResponse{Variants: []*bowrollv1.VariantAnswer{{}}, Curve: []*bowrollv1.SweepPoint{{}}})
		},
		"fleet": func(w io.Writer) error {
			return sheet.Fleet(w, style, nil, &bowrollv1.FleetPlan{Plans: []*bowrollv1.CyclePlan{{}}, Transfers: []*bowrollv1.TransferUse{{}}})
		},
		"extras": func(w io.Writer) error {
			return sheet.Plan(w, style, nil, &bowrollv1.CyclePlan{Timeline: &bowrollv1.Timeline{Tasks: []*bowrollv1.DeckTask{{}}}, Respotting: &bowrollv1.Respotting{},
				Prices: []*bowrollv1.Price{{}}, Replan: &bowrollv1.Replan{}, Bindings: []*bowrollv1.Binding{{}}, Reserves: []*bowrollv1.SizedReserve{{}}})
		},
		"takeoff": func(w io.Writer) error {
			return sheet.Takeoff(w, style, "", &bowrollv1.Takeoff{Roll: &bowrollv1.Roll{}})
		},
		"firing": func(w io.Writer) error {
			return sheet.FoundFiring(w, style, "", &bowrollv1.TakeoffsFindFiringResponse{Curve: []*bowrollv1.FiringPoint{{}},
				PlannedFiring: &bowrollv1.PlannedFiring{Planned: &bowrollv1.FiringOption{}}})
		},
		"wind": func(w io.Writer) error {
			return sheet.WindLimits(w, style, "", &bowrollv1.WindLimitsComputeResponse{Limits: []*bowrollv1.WindLimit{{}}})
		},
		"model":   func(w io.Writer) error { return sheet.Model(w, style, &bowrollv1.ModelInfo{}) },
		"checks":  func(w io.Writer) error { return sheet.Checks(w, style, &bowrollv1.ModelCheckResponse{}) },
		"vectors": func(w io.Writer) error { return sheet.Vectors(w, style, &bowrollv1.ModelCheckVectorsResponse{}) },
		"catalog": func(w io.Writer) error {
			return sheet.CatalogList(w, style, sheet.Catalog{AircraftTypes: []*bowrollv1.AircraftType{{}}, BoosterTypes: []*bowrollv1.BoosterType{{}},
				Sites: []*bowrollv1.Site{{}}, Decks: []*bowrollv1.Deck{{}}})
		},
		"entry": func(w io.Writer) error { return sheet.Entry(w, style, &bowrollv1.Deck{}) },
	} {
		t.Run(name, func(t *testing.T) {
			var got bytes.Buffer
			if err := draw(&got); err != nil {
				t.Fatal(err)
			}
			if name == "plan" && !strings.Contains(got.String(), " -      -") {
				t.Errorf("absent numbers are not drawn as dashes:\n%s", got.String())
			}
		})
	}
}
