package rpc

import (
	"context"
	"fmt"
	"math"
	"testing"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

func testValidator(t testing.TB) protovalidate.Validator {
	t.Helper()
	v, err := protovalidate.New()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// sample is a case that gets off.
func sample() *bowrollv1.TakeoffCase {
	return &bowrollv1.TakeoffCase{
		AircraftType: "aircraftTypes/halbrook", Flap: "takeoff", GrossMassKg: proto.Float64(5000),
		Air:         &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(15)},
		HeadwindMps: proto.Float64(14),
		Deck:        "sites/varrow/decks/main", Spot: "s6",
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST},
		},
	}
}

func every() []bowrollv1.Section {
	return []bowrollv1.Section{
		bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_BEST_FIRING,
		bowrollv1.Section_SECTION_LIMITS, bowrollv1.Section_SECTION_WORTH,
	}
}

func compute(t *testing.T, c *bowrollv1.TakeoffCase, sections ...bowrollv1.Section) *bowrollv1.Takeoff {
	t.Helper()
	out, err := NewTakeoffs(testValidator(t), testSnapshot(t), 1).Compute(context.Background(),
		&bowrollv1.TakeoffsComputeRequest{Case: c, Sections: sections})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestComputeAnswersEverySection(t *testing.T) {
	out := compute(t, sample(), every()...)
	if !goes(out.GetOutcome()) {
		t.Fatalf("outcome %v: %s", out.GetOutcome(), out.GetLimiting())
	}
	if got, want := out.GetRequiredRunM(), out.GetRunM()*out.GetPolicy().GetRunFactor(); got != want {
		t.Errorf("required run %v, want %v", got, want)
	}
	if len(out.GetFailures()) == 0 || out.Covered == nil || out.GetBestFiring() == nil || out.GetWorth() == nil || out.GetLimits() == nil {
		t.Errorf("a section is missing: %v", out)
	}
	best := out.GetBestFiring().GetBest().GetRunM()
	for _, rule := range out.GetBestFiring().GetHouseRules() {
		creeps := rule.HoldMarginN != nil && rule.GetHoldMarginN() < 0 // no way to fire
		if rule.GetLiftsOff() && !creeps && rule.GetRunM() < best-1e-9 {
			t.Errorf("house rule %q needs %v m, less than the best %v m", rule.GetId(), rule.GetRunM(), best)
		}
	}
}

// A limit found by root is the input at which the margin vanishes.
func TestLimitsAreRoots(t *testing.T) {
	c := sample()
	c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(0.5)}
	limits := compute(t, c, bowrollv1.Section_SECTION_LIMITS).GetLimits()
	if limits.GetFiring() != "fixed" {
		t.Errorf("firing %q, want it fixed", limits.GetFiring())
	}
	at := proto.CloneOf(c)
	at.HeadwindMps = limits.GetLeastHeadwindMps().Value
	if m := compute(t, at).GetMarginM(); math.Abs(m) > 1e-5 {
		t.Errorf("margin %v m at the least headwind", m)
	}
	if limits.GetGreatestMassKg().GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
		at = proto.CloneOf(c)
		at.GrossMassKg = limits.GetGreatestMassKg().Value
		if m := compute(t, at).GetMarginM(); math.Abs(m) > 1e-4 {
			t.Errorf("margin %v m at the greatest mass", m)
		}
	}
}

// "It does not get off" is an answer with its reason.
func TestNotGettingOffIsAnAnswer(t *testing.T) {
	c := sample()
	c.Boosters = nil
	c.AvailableM = proto.Float64(40)
	out := compute(t, c, bowrollv1.Section_SECTION_LIMITS)
	if out.GetOutcome() != bowrollv1.Outcome_OUTCOME_RUN_TOO_LONG {
		t.Fatalf("outcome %v", out.GetOutcome())
	}
	f := out.GetFindings()[0]
	if f.GetShortfall() <= 0 || len(f.GetChanges()) == 0 || out.GetLimiting() == "" {
		t.Errorf("finding without shortfall, change or sentence: %v", f)
	}
}

// Every fault of a case is named at once, with path, value and what is allowed.
func TestEveryFaultAtOnce(t *testing.T) {
	c := sample()
	c.AircraftType = "aircraftTypes/halbrock"
	c.GrossMassKg = nil
	c.Air.TemperatureC = proto.Float64(math.NaN())
	c.HeadwindMps = nil
	c.Spot = "s99"
	_, err := NewTakeoffs(testValidator(t), testSnapshot(t), 1).Compute(context.Background(),
		&bowrollv1.TakeoffsComputeRequest{Case: c})
	if status.Code(err) != codes.InvalidArgument {
		t.Fatalf("code %v", status.Code(err))
	}
	fields := map[string]bool{}
	for _, d := range status.Convert(err).Details() {
		if vs, ok := d.(*bowrollv1.Violations); ok {
			for _, v := range vs.GetViolations() {
				fields[v.GetField()] = true
			}
		}
	}
	for _, want := range []string{"case.aircraft_type", "case.gross_mass_kg", "case.air.temperature_c", "case", "case.spot"} {
		if !fields[want] {
			t.Errorf("no fault for %s in %v", want, fields)
		}
	}
}

// A mass outside the type's band is refused with the slip it looks like.
func TestMassSlipIsNamed(t *testing.T) {
	c := sample()
	c.GrossMassKg = proto.Float64(5000 / 0.45359237)
	_, err := NewTakeoffs(testValidator(t), testSnapshot(t), 1).Compute(context.Background(),
		&bowrollv1.TakeoffsComputeRequest{Case: c})
	if status.Code(err) != codes.InvalidArgument {
		t.Fatalf("pounds taken for kilograms were accepted: %v", err)
	}
}

// One bad item never fails the rest; order and ids are kept.
func TestBatchKeepsOrderAndGoesOn(t *testing.T) {
	var cases []*bowrollv1.TakeoffCase
	for i := range 200 {
		c := sample()
		c.Id = fmt.Sprintf("c%d", i)
		c.Boosters = nil
		c.HeadwindMps = proto.Float64(float64(i) / 10)
		cases = append(cases, c)
	}
	cases[7].GrossMassKg = nil
	cases[50].Id = "c49"
	cases[120].Air.TemperatureC = proto.Float64(math.Inf(1))
	snapshot := testSnapshot(t)
	req := &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases}
	one, err := NewTakeoffs(testValidator(t), snapshot, 1).BatchCompute(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	if s := one.GetSummary(); s.GetItemCount() != 200 || s.GetRefusedCount() != 3 || s.GetAnsweredCount() != 197 {
		t.Errorf("summary %v", s)
	}
	for i, item := range one.GetItems() {
		bad := i == 7 || i == 50 || i == 120
		if int(item.GetIndex()) != i || (item.GetStatus().GetCode() != "OK") != bad {
			t.Errorf("item %d: index %d, status %v", i, item.GetIndex(), item.GetStatus())
		}
	}
	many, err := NewTakeoffs(testValidator(t), snapshot, 8).BatchCompute(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(one, many) {
		t.Error("the answer depends on the number of goroutines")
	}
	// Each item is what the single call answers.
	single := compute(t, cases[100])
	if single.Provenance.RequestDigest != one.GetItems()[100].GetTakeoff().GetProvenance().GetRequestDigest() ||
		!proto.Equal(single, one.GetItems()[100].GetTakeoff()) {
		t.Error("an item differs from the single call")
	}
}

func TestBatchStopsWhenTheCallerGoes(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := NewTakeoffs(testValidator(t), testSnapshot(t), 2).BatchCompute(ctx,
		&bowrollv1.TakeoffsBatchComputeRequest{Cases: []*bowrollv1.TakeoffCase{sample()}})
	if status.Code(err) != codes.Canceled {
		t.Errorf("code %v, want Canceled", status.Code(err))
	}
}

func TestTraceEndsAtLiftOff(t *testing.T) {
	out, err := NewTakeoffs(testValidator(t), testSnapshot(t), 1).Trace(context.Background(),
		&bowrollv1.TakeoffsTraceRequest{Case: sample(), StepS: proto.Float64(0.25)})
	if err != nil {
		t.Fatal(err)
	}
	last := len(out.GetTimeS()) - 1
	if out.GetTimeS()[last] != out.GetRoll().GetTimeS() || math.Abs(out.GetAirspeedMps()[last]-out.GetLiftoffAirspeedMps()[last]) > 1e-6 {
		t.Errorf("the last row is not lift-off: %v s at %v m/s", out.GetTimeS()[last], out.GetAirspeedMps()[last])
	}
	for i := 1; i <= last; i++ {
		if out.GetTimeS()[i] <= out.GetTimeS()[i-1] {
			t.Errorf("time does not rise at row %d", i)
		}
	}
}
