package rpc

import (
	"math"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// with applies a change to a case.
func with(c *bowrollv1.TakeoffCase, change *bowrollv1.Change) *bowrollv1.TakeoffCase {
	c = proto.CloneOf(c)
	by := change.GetChange()
	if c.HeadwindMps == nil && change.GetQuantity() != "course_deg" {
		return nil
	}
	switch change.GetQuantity() {
	case "credited_headwind_mps", "headwind_mps":
		c.HeadwindMps = proto.Float64(c.GetHeadwindMps() + by)
	case "crosswind_mps":
		c.CrosswindMps = proto.Float64(c.GetCrosswindMps() + by)
	case "available_m":
		c.AvailableM = proto.Float64(c.GetAvailableM() + by)
	case "gross_mass_kg":
		c.GrossMassKg = proto.Float64(c.GetGrossMassKg() + by)
	case "unit_count":
		c.Boosters.Count = proto.Int32(c.GetBoosters().GetCount() + int32(by))
		c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST}
		if c.GetBoosters().GetCount() == 0 {
			c.Boosters = nil
		}
	case "delay_s":
		c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(c.GetBoosters().GetFiring().GetDelayS() + by)}
	case "course_deg":
		c.Ship.CourseDeg = proto.Float64(math.Mod(c.GetShip().GetCourseDeg()+by+360, 360))
	default:
		return nil
	}
	return c
}

func finds(out *bowrollv1.Takeoff, o bowrollv1.Outcome) *bowrollv1.Finding {
	for _, f := range out.GetFindings() {
		if f.GetOutcome() == o {
			return f
		}
	}
	return nil
}

// Each change that an answer offers clears what it is offered for, when the
// changed case is asked anew.
func TestOfferedChangesClear(t *testing.T) {
	rolling := func(delay float64) *bowrollv1.Firing {
		return &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(delay)}
	}
	for _, row := range []struct {
		outcome bowrollv1.Outcome
		want    []string
		spoil   func(*bowrollv1.TakeoffCase)
	}{
		{bowrollv1.Outcome_OUTCOME_RUN_TOO_LONG, []string{"credited_headwind_mps", "available_m", "unit_count", "gross_mass_kg"}, func(c *bowrollv1.TakeoffCase) {
			c.Spot, c.AvailableM, c.HeadwindMps = "", proto.Float64(150), proto.Float64(8)
		}},
		{bowrollv1.Outcome_OUTCOME_NO_LEG_COVERS, []string{"available_m"}, func(c *bowrollv1.TakeoffCase) {
			c.AvailableM, c.Boosters.Firing = proto.Float64(160), rolling(3)
			c.Policy = &bowrollv1.Policy{Legs: bowrollv1.Legs_LEGS_GO}
		}},
		{bowrollv1.Outcome_OUTCOME_NEVER_FIRES, []string{"delay_s"}, func(c *bowrollv1.TakeoffCase) {
			c.AvailableM, c.Boosters.Firing = proto.Float64(230), rolling(25)
		}},
		{bowrollv1.Outcome_OUTCOME_BURN_OUT_IN_ROTATION, []string{"delay_s"}, func(c *bowrollv1.TakeoffCase) {
			c.AvailableM, c.HeadwindMps, c.Boosters.Firing = proto.Float64(230), proto.Float64(8), rolling(0.3)
		}},
		{bowrollv1.Outcome_OUTCOME_CROSSWIND_EXCEEDED, []string{"crosswind_mps"}, func(c *bowrollv1.TakeoffCase) {
			c.CrosswindMps = proto.Float64(-9)
		}},
		{bowrollv1.Outcome_OUTCOME_CROSSWIND_EXCEEDED, []string{"course_deg"}, func(c *bowrollv1.TakeoffCase) {
			c.HeadwindMps = nil
			c.NaturalWind = &bowrollv1.NaturalWind{FromDeg: proto.Float64(60), SpeedMps: proto.Float64(9)}
			c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(0), SpeedMps: proto.Float64(10)}
		}},
		{bowrollv1.Outcome_OUTCOME_TAILWIND_EXCEEDED, []string{"headwind_mps"}, func(c *bowrollv1.TakeoffCase) {
			c.HeadwindMps = proto.Float64(-2)
		}},
	} {
		c := sample()
		if c.AvailableM == nil {
			c.AvailableM = proto.Float64(176)
		}
		row.spoil(c)
		out := compute(t, c, bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_FAILURES)
		f := finds(out, row.outcome)
		if f == nil {
			t.Errorf("%v is not found: %v", row.outcome, out.GetFindings())
			continue
		}
		offered := map[string]bool{}
		for _, change := range f.GetChanges() {
			offered[change.GetQuantity()] = true
			if change.GetText() == "" || change.GetChange() == 0 {
				t.Errorf("%v: %v says nothing", row.outcome, change)
			}
			changed := with(c, change)
			if changed == nil {
				continue
			}
			after := compute(t, changed, bowrollv1.Section_SECTION_FAILURES)
			again := finds(after, row.outcome)
			if again != nil && again.GetText() == f.GetText() || again != nil && row.outcome != bowrollv1.Outcome_OUTCOME_NO_LEG_COVERS {
				t.Errorf("%v is not cleared by %v: %v", row.outcome, change, again)
			}
		}
		for _, quantity := range row.want {
			if !offered[quantity] {
				t.Errorf("%v: %s is not offered among %v", row.outcome, quantity, f.GetChanges())
			}
		}
	}
}

// One sentence says what settles the case, and the leg that it hangs on.
func TestTheLimitingLegIsNamed(t *testing.T) {
	out := compute(t, sample(), bowrollv1.Section_SECTION_FAILURES)
	if !goes(out.GetOutcome()) || !out.GetCovered() {
		t.Fatalf("outcome %v", out.GetOutcome())
	}
	limiting := out.GetLimiting()
	for _, word := range []string{"required run", "m to spare", "it relies on the", "leg"} {
		if !strings.Contains(limiting, word) {
			t.Errorf("%q does not say %q", limiting, word)
		}
	}
	for i := range len(limiting) - 1 {
		if limiting[i] == '.' && limiting[i+1] == ' ' {
			t.Errorf("more than one sentence: %q", limiting)
		}
	}
}
