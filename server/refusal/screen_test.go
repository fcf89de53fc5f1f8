package refusal

import (
	"math"
	"testing"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func newScreen(t *testing.T) *Screen {
	t.Helper()
	s, err := NewScreen(bowrollv1.File_bowroll_v1_takeoff_proto.Services().ByName("Takeoffs"))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// want holds faults against lines of "field rule value".
func want(t *testing.T, faults []*bowrollv1.Violation, lines ...string) {
	t.Helper()
	var got []string
	for _, f := range faults {
		got = append(got, f.GetField()+" "+f.GetRule()+" "+f.GetValue())
	}
	if len(got) != len(lines) {
		t.Fatalf("got %d faults\n%q\nwant %d\n%q", len(got), got, len(lines), lines)
	}
	for i := range got {
		if got[i] != lines[i] {
			t.Errorf("fault %d is %q, want %q", i, got[i], lines[i])
		}
	}
}

func TestRequestLeavesItemsOfABatchToTheService(t *testing.T) {
	bad := &bowrollv1.TakeoffCase{GrossMassKg: proto.Float64(math.NaN())}
	faults, err := newScreen(t).Request(&bowrollv1.TakeoffsBatchComputeRequest{Cases: []*bowrollv1.TakeoffCase{bad}})
	if err != nil {
		t.Fatal(err)
	}
	want(t, faults)
	faults, err = newScreen(t).Request(&bowrollv1.TakeoffsBatchComputeRequest{})
	if err != nil {
		t.Fatal(err)
	}
	want(t, faults, "cases count 0 entries")
	if got := faults[0].GetAllowed(); got != "from 1 to 10000 entries" {
		t.Errorf("allowed is %q", got)
	}
}

func TestRequestListsEverythingOnceAnythingIsWrong(t *testing.T) {
	faults, err := newScreen(t).Request(&bowrollv1.TakeoffsComputeRequest{
		Case: &bowrollv1.TakeoffCase{
			AircraftType: "aircraftTypes/heron", Deck: "sites/a/decks/b", Spot: "s1", Flap: "half",
			GrossMassKg: proto.Float64(7), HeadwindMps: proto.Float64(0),
			Air: &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(99)},
		},
		Sections: []bowrollv1.Section{99},
	})
	if err != nil {
		t.Fatal(err)
	}
	want(t, faults, "case.gross_mass_kg range 7", "case.air.temperature_c range 99", "sections[0] enum 99")
	if got := faults[0].GetAllowed(); got != "from 50 to 600000 kg" {
		t.Errorf("allowed is %q", got)
	}
	if got := faults[1].GetAllowed(); got != "from -80 to 60 degrees Celsius" {
		t.Errorf("allowed is %q", got)
	}
}

func TestCheckFindsWhatTheBinaryFormLetsThrough(t *testing.T) {
	air := &bowrollv1.Air{PressurePa: proto.Float64(math.Inf(1)), TemperatureC: proto.Float64(15)}
	air.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 77, protowire.VarintType), 1))
	faults, err := Check(newScreen(t).Validator(), "case.air", air)
	if err != nil {
		t.Fatal(err)
	}
	want(t, faults, "case.air.pressure_pa finite +Inf", "case.air.77 known ")
}

func TestAttachedFaultsJoinTheOthersAndHideWhatFollowsFromThem(t *testing.T) {
	m := &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{
		AircraftType: "aircraftTypes/heron", Deck: "sites/a/decks/b", Spot: "s1", Flap: "half",
		GrossMassKg: proto.Float64(7000), HeadwindMps: proto.Float64(0),
		Air: &bowrollv1.Air{PressurePa: proto.Float64(101325)},
	}}
	misread := []*bowrollv1.Violation{
		{Field: "case.air.temperature_c", Rule: "type", Value: `"NaN"`},
		{Field: "case.heading", Rule: "known", Value: "1"},
	}
	if err := Attach(m, misread); err != nil {
		t.Fatal(err)
	}
	wire, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	received := &bowrollv1.TakeoffsComputeRequest{}
	if err := proto.Unmarshal(wire, received); err != nil {
		t.Fatal(err)
	}
	faults, err := newScreen(t).Request(received)
	if err != nil {
		t.Fatal(err)
	}
	// The rule that temperature_c is required has nothing to add.
	want(t, faults, `case.air.temperature_c type "NaN"`, "case.heading known 1")
}

func TestHides(t *testing.T) {
	for _, c := range []struct {
		misread, path, hint string
		want                bool
	}{
		{"a.b", "a.b", "", true},
		{"a.b", "a.b.c", "", true},
		{"a.b", "a.b[2].c", "", true},
		{"a.b", "a.bc", "", false},
		{"a.b.c_m", "a.b", "give c_m or d_m", true},
		{"a.b.c_m", "a.b", "give e_m or d_m", false},
		{"a.b.c_m", "a", "give c_m", false},
		{"a", "", "give a", true},
	} {
		if got := hides(c.misread, &bowrollv1.Violation{Field: c.path, Hint: c.hint}); got != c.want {
			t.Errorf("hides(%q, %q, %q) = %v", c.misread, c.path, c.hint, got)
		}
	}
}

func TestWhatHasNoPresenceIsNotGiven(t *testing.T) {
	faults, err := Check(newScreen(t).Validator(), "", &bowrollv1.Firing{})
	if err != nil {
		t.Fatal(err)
	}
	want(t, faults, "mode required ")
	if got := Line(faults[0]); got != "mode is not given: must be one of FIRING_MODE_ON_BRAKES, FIRING_MODE_ROLLING, FIRING_MODE_UNLIT, FIRING_MODE_BEST, FIRING_MODE_PLANNED" {
		t.Error(got)
	}
}

func TestPatternText(t *testing.T) {
	const letters = "up to 63 lower-case letters, digits and hyphens, the first a letter"
	for pattern, want := range map[string]string{
		"^[a-z][a-z0-9-]{0,62}$":                  letters,
		"^([a-z][a-z0-9-]{0,62})?$":               letters,
		"^(aircraftTypes/[a-z][a-z0-9-]{0,62})?$": "aircraftTypes/{id}, each id " + letters,
		"^a+$": "text that matches ^a+$",
	} {
		if got := patternText(pattern); got != want {
			t.Errorf("%s: %s", pattern, got)
		}
	}
}
