package rpc

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// inline is the sample on a surface of its own, in a natural wind.
func inline() *bowrollv1.TakeoffCase {
	c := sample()
	c.Deck, c.Spot, c.HeadwindMps, c.Boosters = "", "", nil, nil
	c.Surface = &bowrollv1.Surface{RollingFriction: proto.Float64(0.03)}
	c.AvailableM = proto.Float64(400)
	c.NaturalWind = &bowrollv1.NaturalWind{FromDeg: proto.Float64(50), SpeedMps: proto.Float64(10)}
	return c
}

// The heading of the axis of a surface given inline holds also where a ship
// carries it.
func TestAxisHeadingOfASurfaceUnderWay(t *testing.T) {
	c := inline()
	c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(20), SpeedMps: proto.Float64(8)}
	along := func(axis float64) (head, cross float64) {
		radians := func(deg float64) float64 { return deg * math.Pi / 180 }
		return 10*math.Cos(radians(50-axis)) + 8*math.Cos(radians(20-axis)),
			10*math.Sin(radians(50-axis)) + 8*math.Sin(radians(20-axis))
	}
	for _, row := range []struct {
		heading *float64
		axis    float64
	}{{nil, 20}, {proto.Float64(29), 29}, {proto.Float64(11), 11}, {proto.Float64(20), 20}} {
		c.AxisHeadingDeg = row.heading
		head, cross := along(row.axis)
		wind := compute(t, c).GetWind()
		if math.Abs(wind.GetHeadwindMps()-head) > 1e-12 || math.Abs(wind.GetCrosswindMps()-cross) > 1e-12 {
			t.Errorf("axis %g: headwind %g, crosswind %g, want %g and %g", row.axis, wind.GetHeadwindMps(), wind.GetCrosswindMps(), head, cross)
		}
	}
}

// The ship's own part of the wind is that along the axis stated.
func TestOwnHeadwindAlongAStatedAxis(t *testing.T) {
	c := inline()
	c.NaturalWind = nil
	c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(350), SpeedMps: proto.Float64(8)}
	c.AxisHeadingDeg = proto.Float64(20)
	out, err := windService(t, 1).Compute(t.Context(), &bowrollv1.WindLimitsComputeRequest{
		Case: c, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_FIXED,
	})
	if err != nil {
		t.Fatal(err)
	}
	if want := 8 * math.Cos(math.Pi/6); math.Abs(out.GetOwnHeadwindMps()-want) > 1e-12 {
		t.Errorf("own headwind %g, want %g", out.GetOwnHeadwindMps(), want)
	}
}

// What would be left out of account is refused, and so is a natural wind on a ship
// whose course nobody stated.
func TestAxisThatIsNotKnownIsRefused(t *testing.T) {
	c := inline()
	if found := faultsOf(t, c); found["case.axis_heading_deg"].GetRule() != "required" {
		t.Errorf("a surface without axis: %v", found)
	}
	c.Surface, c.AvailableM, c.Deck, c.Spot = nil, nil, "sites/varrow/decks/main", "s6"
	if found := faultsOf(t, c); found["case.ship"].GetRule() != "required" {
		t.Errorf("a natural wind on a ship without course: %v", found)
	}
	c.Ship = &bowrollv1.Ship{CourseDeg: proto.Float64(20), SpeedMps: proto.Float64(8)}
	c.AxisHeadingDeg = proto.Float64(29)
	if found := faultsOf(t, c); found["case.axis_heading_deg"].GetRule() != "goes-with" {
		t.Errorf("an axis beside that of the deck: %v", found)
	}
}
