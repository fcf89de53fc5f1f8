package rpc

import (
	"context"
	"math"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// armed is the sample with everything given that the safety parts need.
func armed() *bowrollv1.TakeoffCase {
	c := sample()
	c.Boosters.Release = &bowrollv1.UnitRelease{
		HeightM: proto.Float64(150), Above: bowrollv1.Datum_DATUM_SEA, AirspeedMps: proto.Float64(60), ClimbAngleDeg: proto.Float64(3),
		ReleaseSigmaS: proto.Float64(0.4), WindSigmaMps: proto.Float64(1.5), TumblingSigma: proto.Float64(0.06), SigmaFactor: proto.Float64(3),
	}
	c.Boosters.FiringSupply = &bowrollv1.FiringSupply{
		Wiring: bowrollv1.Wiring_WIRING_SERIES, SourceV: proto.Float64(28), SourceOhm: proto.Float64(0.3),
		CableOhm: proto.Float64(0.8), LeadOhm: proto.Float64(0.1), TestA: proto.Float64(0.04),
	}
	return c
}

func safetySections() []bowrollv1.Section {
	return []bowrollv1.Section{
		bowrollv1.Section_SECTION_DROP_ZONE, bowrollv1.Section_SECTION_EXHAUST, bowrollv1.Section_SECTION_CIRCUIT, bowrollv1.Section_SECTION_BOX,
	}
}

func TestSafetyPartsAreAnswered(t *testing.T) {
	out := compute(t, armed(), safetySections()...)
	if k := out.GetKeepClear(); k.GetBasis() != bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_TESTED || k.GetDistanceM() != 34 || k.GetEstimateM() <= 0 || k.GetUnitCount() != 2 {
		t.Errorf("keep clear %v", k)
	}
	zone := out.GetDropZone()
	if zone.GetSemiAlongM() <= zone.GetSemiAcrossM() || zone.GetClearS() < zone.GetFirstDownS() || zone.GetFirstDownS() < 5 ||
		zone.GetAbove() != bowrollv1.Datum_DATUM_SEA || len(zone.GetFalls()) < 4 || zone.TrackDeg != nil {
		t.Errorf("drop zone %v", zone)
	}
	// Both igniters of the sample are on the line "inner": 28 V over
	// 0.3 + 0.8 + 2 x (1.1 + 0.1) ohm.
	lines := out.GetFiringLines()
	if len(lines) != 1 || lines[0].GetIgniterCount() != 2 || math.Abs(lines[0].GetIgniterA()-8) > 1e-12 || !lines[0].GetGood() ||
		math.Abs(lines[0].GetLeastSourceV()-3.5*3.5) > 1e-12 {
		t.Errorf("firing lines %v", lines)
	}
	if out.GetAsymmetry() == nil || cautioned(out, "firing-line") || cautioned(out, "exhaust-estimated") || cautioned(out, "misfire-wait-short") {
		t.Errorf("asymmetry %v, cautions %v", out.GetAsymmetry(), out.GetCautions())
	}
}

// What a type does not state is named, the rest is answered, and nothing is
// assumed.
func TestSafetyPartsNeedTheirData(t *testing.T) {
	c := armed()
	kind, _ := testSnapshot(t).BoosterType("boosterTypes/emberlin-6")
	kind = proto.CloneOf(kind)
	kind.KeepClearM, kind.Exhaust, kind.Igniter, kind.MisfireWaitS = nil, nil, nil, proto.Float64(1200)
	kind.FallingDragAreaLeastM2, kind.FallingDragAreaGreatestM2 = nil, nil
	c.Boosters.BoosterType, c.Boosters.Type = "", kind
	out := compute(t, c, safetySections()...)
	if out.GetKeepClear() != nil || out.GetDropZone() != nil || out.GetFiringLines() != nil || out.GetRunM() <= 0 || !goes(out.GetOutcome()) {
		t.Errorf("answer %v", out)
	}
	count := 0
	for _, f := range out.GetFindings() {
		if f.GetOutcome() == bowrollv1.Outcome_OUTCOME_DATA_MISSING {
			count++
		}
	}
	if count != 3 || !cautioned(out, "misfire-wait-short") {
		t.Errorf("%d data missing: %v; cautions %v", count, out.GetFindings(), out.GetCautions())
	}
	kind.Exhaust = &bowrollv1.ExhaustJet{
		ExitSpeedMps: proto.Float64(2000), ExitDiameterM: proto.Float64(0.1), ExitDensityKgM3: proto.Float64(0.245),
		DecayFactor: proto.Float64(6.2), CriterionSpeedMps: proto.Float64(13.33),
	}
	out = compute(t, c, bowrollv1.Section_SECTION_EXHAUST)
	if k := out.GetKeepClear(); k.GetBasis() != bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_ESTIMATE || math.Abs(k.GetDistanceM()-58.8) > 0.6 || !cautioned(out, "exhaust-estimated") {
		t.Errorf("keep clear %v, cautions %v", k, out.GetCautions())
	}
}

// A part that needs an input says which.
func TestSafetyPartsNeedTheirInput(t *testing.T) {
	found := faultsOf(t, sample(), safetySections()...)
	if len(found) != 2 || found["case.boosters.release"] == nil || found["case.boosters.firing_supply"] == nil {
		t.Errorf("faults %v", found)
	}
	c := armed()
	c.Boosters.Release.Above = bowrollv1.Datum_DATUM_UNSPECIFIED
	c.Boosters.Release.HeightM = nil
	c.Boosters.FiringSupply.SourceV = nil
	found = faultsOf(t, c, safetySections()...)
	for _, field := range []string{"release.above", "release.height_m", "firing_supply.source_v"} {
		if found["case.boosters."+field] == nil {
			t.Errorf("%s is not named in %v", field, found)
		}
	}
}

// A line that is not sure to fire, or is tested with too much, is a warning.
func TestBadFiringLinesAreWarned(t *testing.T) {
	c := armed()
	c.Boosters.FiringSupply.CableOhm = proto.Float64(8)
	out := compute(t, c, bowrollv1.Section_SECTION_CIRCUIT)
	if l := out.GetFiringLines()[0]; l.GetIgnition() != bowrollv1.Ignition_IGNITION_UNSURE || l.GetGood() || !cautioned(out, "firing-line") {
		t.Errorf("line %v", l)
	}
	c.Boosters.FiringSupply.CableOhm = proto.Float64(0.8)
	c.Boosters.FiringSupply.TestA = proto.Float64(0.06)
	out = compute(t, c, bowrollv1.Section_SECTION_CIRCUIT)
	if l := out.GetFiringLines()[0]; l.GetTestSafe() || l.GetTestLimitA() != 0.05 || out.GetCautions()[0].GetId() != "firing-line" {
		t.Errorf("line %v, cautions %v", l, out.GetCautions())
	}
}

// The box of an answer holds where the answer says: recomputed at its sides, all
// at their worst, the required run still fits; live conditions outside are void.
func TestBoxHoldsAndVoids(t *testing.T) {
	until := time.Date(2031, 5, 4, 6, 30, 0, 0, time.UTC)
	c := sample()
	c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)}
	c.UntilTime = timestamppb.New(until)
	box := compute(t, c, bowrollv1.Section_SECTION_BOX).GetBox()
	if box == nil || box.LeastHeadwindMps == nil || box.GreatestMassKg == nil || box.GetSpotToleranceM() <= 0 || box.GetKeptFraction() <= 0 ||
		box.GetGreatestCrosswindMps() != 6.2 || !box.GetUntilTime().AsTime().Equal(until) {
		t.Fatalf("box %v", box)
	}
	worst := proto.CloneOf(c)
	worst.HeadwindMps, worst.GrossMassKg = box.LeastHeadwindMps, box.GreatestMassKg
	worst.AvailableM = proto.Float64(176 - box.GetSpotToleranceM())
	if box.GreatestTemperatureC != nil {
		worst.Air.TemperatureC = box.GreatestTemperatureC
	}
	for _, grain := range []*float64{box.LeastGrainTemperatureC, box.GreatestGrainTemperatureC} {
		worst.Boosters.GrainTemperatureC = grain
		if out := compute(t, worst); out.GetMarginM() < 0 {
			t.Errorf("at the corner with grain at %v degC the margin is %v m", *grain, out.GetMarginM())
		}
	}
	service := NewTakeoffs(testValidator(t), testSnapshot(t), 1)
	check := func(live *bowrollv1.LiveConditions) *bowrollv1.TakeoffsCheckBoxResponse {
		t.Helper()
		out, err := service.CheckBox(context.Background(), &bowrollv1.TakeoffsCheckBoxRequest{Box: box, Live: live})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	live := &bowrollv1.LiveConditions{
		HeadwindMps: box.LeastHeadwindMps, CrosswindMps: proto.Float64(-3), GrossMassKg: box.GreatestMassKg, TemperatureC: proto.Float64(15),
		GrainTemperatureC: []float64{20, *box.LeastGrainTemperatureC}, SpotOffsetM: proto.Float64(0), Time: timestamppb.New(until),
	}
	if out := check(live); !out.GetHolds() || out.GetProvenance() == nil {
		t.Errorf("at the sides: %v", out)
	}
	live.HeadwindMps = proto.Float64(*box.LeastHeadwindMps - 0.1)
	live.Time = nil
	out := check(live)
	if out.GetHolds() || out.GetItems()[0].GetHolds() || out.GetItems()[1].GetHolds() || !out.GetItems()[2].GetHolds() {
		t.Errorf("less wind and no clock: %v", out)
	}
	// There is no box around an answer that does not hold.
	c.AvailableM = proto.Float64(62)
	c.Spot = "s1"
	if out := compute(t, c, bowrollv1.Section_SECTION_BOX); goes(out.GetOutcome()) || out.GetBox() != nil {
		t.Errorf("outcome %v with the box %v", out.GetOutcome(), out.GetBox())
	}
}

// Units of unequal lots and temperatures left and right (planner case D11) give
// the moments in the burn and in the tail, to the side they turn to.
func TestUnequalUnitsTurnTheNose(t *testing.T) {
	c := sample()
	c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(0)}
	even := compute(t, c).GetAsymmetry()
	if even.GetBurnMomentNm() != 0 || even.GetTailMomentNm() != 0 || !even.GetControlled() {
		t.Errorf("even units: %v", even)
	}
	c.Boosters.UnitTemperatures = []*bowrollv1.UnitTemperature{{Station: "p1", GrainTemperatureC: proto.Float64(-10)}}
	cold := compute(t, c).GetAsymmetry()
	// Port is weaker, so that the nose goes to port in the burn; it burns longer
	// and turns the nose to starboard in the tail.
	if cold.GetBurnMomentNm() >= 0 || cold.GetTailMomentNm() <= 0 || cold.TailControlAirspeedMps == nil || cold.TailAirspeedMps == nil {
		t.Errorf("port cold: %v", cold)
	}
	c.Boosters.UnitTemperatures = nil
	c.Boosters.UnitLots = []*bowrollv1.UnitLot{{Station: "s1", ThrustRatio: proto.Float64(0.96), BurnTimeRatio: proto.Float64(1.04)}}
	lot := compute(t, c).GetAsymmetry()
	if lot.GetBurnMomentNm() <= 0 || lot.GetTailMomentNm() >= 0 {
		t.Errorf("a weak lot to starboard: %v", lot)
	}
	c.Boosters.UnitLots[0].Station = "s9"
	if found := faultsOf(t, c); found["case.boosters.unit_lots[0].station"] == nil {
		t.Errorf("faults %v", found)
	}
}

// An odd number of units needs a station on the centre line (planner case D17).
func TestOddCountsNeedTheCentreLine(t *testing.T) {
	c := sample()
	c.Boosters.Count = proto.Int32(3)
	if found := faultsOf(t, c); found["case.boosters.count"] == nil {
		t.Errorf("three units on a type without a centre-line station: %v", found)
	}
	inline, _ := testSnapshot(t).AircraftType("aircraftTypes/halbrook")
	inline = proto.CloneOf(inline)
	inline.Loadings = append(inline.Loadings, &bowrollv1.Loading{UnitCount: proto.Int32(3), Stations: []string{"p1", "s1", "p2"}})
	c.AircraftType, c.Aircraft = "", inline
	if found := faultsOf(t, c); found["case.aircraft.loadings[2].stations[2]"].GetRule() != "mirror" {
		t.Errorf("two to port and one to starboard: %v", found)
	}
	c = sample()
	c.AircraftType, c.GrossMassKg, c.Spot = "aircraftTypes/wendrake", proto.Float64(11000), "s8"
	c.Boosters.Count = proto.Int32(3)
	if out := compute(t, c); out.GetAsymmetry().GetBurnMomentNm() != 0 {
		t.Errorf("a pair and one on the centre line: %v", out.GetAsymmetry())
	}
}
