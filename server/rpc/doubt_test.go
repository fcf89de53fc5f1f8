package rpc

import (
	"context"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// faultsOf computes a case that is refused, and returns hint and rule by field.
func faultsOf(t *testing.T, c *bowrollv1.TakeoffCase, sections ...bowrollv1.Section) map[string]*bowrollv1.Violation {
	t.Helper()
	_, err := NewTakeoffs(testValidator(t), testSnapshot(t), 1).Compute(context.Background(),
		&bowrollv1.TakeoffsComputeRequest{Case: c, Sections: sections})
	if status.Code(err) != codes.InvalidArgument {
		t.Fatalf("code %v: %v", status.Code(err), err)
	}
	found := map[string]*bowrollv1.Violation{}
	for _, d := range status.Convert(err).Details() {
		if vs, ok := d.(*bowrollv1.Violations); ok {
			for _, v := range vs.GetViolations() {
				found[v.GetField()] = v
			}
		}
	}
	return found
}

// Each input that fits only after a slip is refused with the slip it looks like.
func TestSlipsAreRefusedWithTheirName(t *testing.T) {
	for _, row := range []struct {
		name, field, hint string
		spoil             func(*bowrollv1.TakeoffCase)
	}{
		{"pounds", "gross_mass_kg", "pounds", func(c *bowrollv1.TakeoffCase) { c.GrossMassKg = proto.Float64(11023) }},
		{"kilograms converted", "gross_mass_kg", "kilograms taken for pounds", func(c *bowrollv1.TakeoffCase) { c.GrossMassKg = proto.Float64(2268) }},
		{"a digit too many", "gross_mass_kg", "one digit too many", func(c *bowrollv1.TakeoffCase) { c.GrossMassKg = proto.Float64(50000) }},
		{"a digit too few", "gross_mass_kg", "one digit too few", func(c *bowrollv1.TakeoffCase) { c.GrossMassKg = proto.Float64(500) }},
		{"out of band", "gross_mass_kg", "check it", func(c *bowrollv1.TakeoffCase) { c.GrossMassKg = proto.Float64(7777) }},
		{"feet", "available_m", "feet", func(c *bowrollv1.TakeoffCase) { c.AvailableM = proto.Float64(577) }},
		{"knots", "headwind_mps", "knots", func(c *bowrollv1.TakeoffCase) { c.HeadwindMps = proto.Float64(28) }},
		{"knots across", "crosswind_mps", "knots", func(c *bowrollv1.TakeoffCase) { c.CrosswindMps = proto.Float64(-30) }},
		{"knots on deck", "deck_wind.speed_mps", "knots", func(c *bowrollv1.TakeoffCase) {
			c.HeadwindMps = nil
			c.DeckWind = &bowrollv1.DeckWind{RelativeFromDeg: proto.Float64(0), SpeedMps: proto.Float64(40)}
			c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(0), SpeedMps: proto.Float64(10)}
		}},
		{"natural knots", "natural_wind.speed_mps", "knots", func(c *bowrollv1.TakeoffCase) {
			c.HeadwindMps = nil
			c.NaturalWind = &bowrollv1.NaturalWind{FromDeg: proto.Float64(0), SpeedMps: proto.Float64(40)}
			c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(0), SpeedMps: proto.Float64(10)}
		}},
		{"the ship in knots", "ship.speed_mps", "knots", func(c *bowrollv1.TakeoffCase) {
			c.HeadwindMps = nil
			c.NaturalWind = &bowrollv1.NaturalWind{FromDeg: proto.Float64(0), SpeedMps: proto.Float64(5)}
			c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(0), SpeedMps: proto.Float64(22)}
		}},
		{"Fahrenheit", "air.temperature_c", "Fahrenheit", func(c *bowrollv1.TakeoffCase) { c.Air.TemperatureC = proto.Float64(77) }},
		{"hectopascals", "air.pressure_pa", "hectopascals", func(c *bowrollv1.TakeoffCase) { c.Air.PressurePa = proto.Float64(1013) }},
		{"grain in Fahrenheit", "boosters.grain_temperature_c", "Fahrenheit", func(c *bowrollv1.TakeoffCase) { c.Boosters.GrainTemperatureC = proto.Float64(68) }},
		{"grain far out", "boosters.grain_temperature_c", "Fahrenheit", func(c *bowrollv1.TakeoffCase) { c.Boosters.GrainTemperatureC = proto.Float64(104) }},
		{"grain outside", "boosters.grain_temperature_c", "may not be fired", func(c *bowrollv1.TakeoffCase) { c.Boosters.GrainTemperatureC = proto.Float64(-55) }},
		{"one unit", "boosters.unit_temperatures[0].grain_temperature_c", "Fahrenheit", func(c *bowrollv1.TakeoffCase) {
			c.Boosters.UnitTemperatures = []*bowrollv1.UnitTemperature{{Station: "p1", GrainTemperatureC: proto.Float64(72)}}
		}},
	} {
		c := sample()
		row.spoil(c)
		found := faultsOf(t, c)
		v := found["case."+row.field]
		if v == nil || !strings.Contains(v.GetHint(), row.hint) || v.GetAllowed() == "" || v.GetValue() == "" || len(found) != 1 {
			t.Errorf("%s: %v", row.name, found)
		}
	}
}

// All slips are named at once, beside the other faults.
func TestSlipsAreNamedBesideOtherFaults(t *testing.T) {
	c := sample()
	c.GrossMassKg, c.AvailableM, c.HeadwindMps = proto.Float64(11023), proto.Float64(577), proto.Float64(28)
	c.Boosters.GrainTemperatureC, c.Air.TemperatureC, c.Flap = proto.Float64(68), nil, "no-such"
	found := faultsOf(t, c)
	for _, field := range []string{"gross_mass_kg", "available_m", "headwind_mps", "boosters.grain_temperature_c", "air.temperature_c"} {
		if found["case."+field] == nil {
			t.Errorf("%s is not named in %v", field, found)
		}
	}
}

// A wind above the ceiling that is still believed is answered, with what it may
// be.
func TestAWindAboveTheCeilingIsAnswered(t *testing.T) {
	c := sample()
	c.HeadwindMps = proto.Float64(26)
	out := compute(t, c)
	if out.GetOutcome() != bowrollv1.Outcome_OUTCOME_DECK_CEILING_EXCEEDED {
		t.Errorf("outcome %v", out.GetOutcome())
	}
	if !cautioned(out, "wind-reads-as-knots") {
		t.Errorf("cautions %v", out.GetCautions())
	}
	c.HeadwindMps = proto.Float64(14)
	if cautioned(compute(t, c), "wind-reads-as-knots") {
		t.Error("a wind below the ceiling is doubted")
	}
}

func cautioned(out *bowrollv1.Takeoff, id string) bool {
	for _, c := range out.GetCautions() {
		if c.GetId() == id {
			return true
		}
	}
	return false
}
