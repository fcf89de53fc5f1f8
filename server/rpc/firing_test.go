package rpc

import (
	"context"
	"math"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// planned is the sample case with its firing planned.
func planned() *bowrollv1.TakeoffCase {
	c := sample()
	c.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_PLANNED}
	return c
}

func TestPlannedFiringIsTheOneUsed(t *testing.T) {
	out := compute(t, planned())
	p := out.GetPlannedFiring()
	if p == nil || out.Covered == nil {
		t.Fatalf("planned %v, covered %v", p, out.Covered)
	}
	if used := out.GetFiring(); used.GetMode() != p.GetPlanned().GetMode() || used.GetDelayS() != p.GetPlanned().GetDelayS() || !used.GetSearched() {
		t.Errorf("used %v, planned %v", used, p.GetPlanned())
	}
	if out.GetRunM() != p.GetPlanned().GetRunM() {
		t.Errorf("run %g m, of the firing planned %g m", out.GetRunM(), p.GetPlanned().GetRunM())
	}
	if p.GetGainM() < 0 || p.GetPriceM() < -1e-9 {
		t.Errorf("the plan costs %g m and gains %g m", p.GetPriceM(), p.GetGainM())
	}
	if p.GetPlanned().GetRunPercentileM() < p.GetPlanned().GetRunP50M() {
		t.Errorf("median %g m, percentile %g m", p.GetPlanned().GetRunP50M(), p.GetPlanned().GetRunPercentileM())
	}
	if d := p.GetDispersions(); d.GetUnitThrustSigma() != 0.02 || d.GetDudProbability() != 0.008 || d.GetReactionSigmaS() != 0.3 {
		t.Errorf("dispersions %v", d)
	}
	// The three cues are of one moment of one roll.
	trace, err := NewTakeoffs(testValidator(t), testSnapshot(t), 1).Trace(context.Background(), &bowrollv1.TakeoffsTraceRequest{Case: planned(), StepS: proto.Float64(0.01)})
	if err != nil {
		t.Fatal(err)
	}
	cue := out.GetFiring().GetCue()
	for i, at := range trace.GetTimeS() {
		if at >= cue.GetTimeS() {
			if math.Abs(trace.GetDistanceM()[i]-cue.GetDistanceM()) > 0.5 || math.Abs(trace.GetAirspeedMps()[i]-cue.GetCreditedAirspeedMps()) > 0.1 {
				t.Errorf("at %g s: %g m, %g m/s; cue %v", at, trace.GetDistanceM()[i], trace.GetAirspeedMps()[i], cue)
			}
			break
		}
	}
}

func TestFindFiring(t *testing.T) {
	service := NewTakeoffs(testValidator(t), testSnapshot(t), 2)
	out, err := service.FindFiring(context.Background(), &bowrollv1.TakeoffsFindFiringRequest{
		Case: planned(), PointCount: proto.Int32(16), SampleCount: proto.Int32(128),
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out.GetCurve()) != 16 || out.GetCurveSampleCount() != 128 {
		t.Fatalf("%d points of %d draws", len(out.GetCurve()), out.GetCurveSampleCount())
	}
	least, greatest, beyond := math.Inf(1), 0.0, false
	for i, p := range out.GetCurve() {
		if i > 0 && p.GetDelayS() <= out.GetCurve()[i-1].GetDelayS() {
			t.Errorf("point %d at %g s after %g s", i, p.GetDelayS(), out.GetCurve()[i-1].GetDelayS())
		}
		if p.RunPercentileM != nil {
			if p.RunP50M == nil || p.GetRunP50M() > p.GetRunPercentileM() {
				t.Errorf("point %d: median %v, percentile %v", i, p.RunP50M, p.RunPercentileM)
			}
			if p.GetCovered() {
				least = min(least, p.GetRunPercentileM())
			}
			greatest = max(greatest, p.GetRunPercentileM())
		}
		if p.RunP99M != nil && (p.RunPercentileM == nil || p.GetRunP99M() < p.GetRunPercentileM()) {
			t.Errorf("point %d: percentile %v, P99 %v", i, p.RunPercentileM, p.RunP99M)
		}
		beyond = beyond || p.GetRunP99M() > p.GetRunPercentileM()
	}
	if !beyond {
		t.Error("P99 is nowhere beyond the percentile of the policy")
	}
	// What was compared has its tail too: on the brakes first, then the house rules.
	all := append([]*bowrollv1.FiringOption{out.GetPlannedFiring().GetPlanned(), out.GetPlannedFiring().GetNominalBest()}, out.GetPlannedFiring().GetHouseRules()...)
	for _, o := range all {
		if o.RunPercentileM != nil && (o.RunP99M == nil || o.GetRunP99M() < o.GetRunPercentileM()) {
			t.Errorf("%s: percentile %v, P99 %v", o.GetId(), o.RunPercentileM, o.RunP99M)
		}
	}
	// The curve is of other draws than the plan's figures.
	if got := out.GetPlannedFiring().GetPlanned(); got.GetRunPercentileM() > least+0.1*(greatest-least)+2 {
		t.Errorf("planned %g m at the percentile, the curve has %g m", got.GetRunPercentileM(), least)
	}
	if out.GetFiring().GetDelayS() != out.GetPlannedFiring().GetPlanned().GetDelayS() || len(out.GetFailures()) == 0 {
		t.Errorf("firing %v, planned %v", out.GetFiring(), out.GetPlannedFiring().GetPlanned())
	}

	c := planned()
	c.Boosters = nil
	if _, err := service.FindFiring(context.Background(), &bowrollv1.TakeoffsFindFiringRequest{Case: c}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("without boosters: %v", err)
	}
}

func TestChance(t *testing.T) {
	out := compute(t, planned(), bowrollv1.Section_SECTION_CHANCE)
	chance := out.GetChance()
	if chance.GetSampleCount() != 10000 || chance.GetScrambleCount() != 16 {
		t.Errorf("%d samples of %d scrambles", chance.GetSampleCount(), chance.GetScrambleCount())
	}
	sum := chance.GetUnassignedFraction()
	for i, s := range chance.GetVarianceShares() {
		sum += s.GetFraction()
		if i > 0 && s.GetFraction() > chance.GetVarianceShares()[i-1].GetFraction() {
			t.Errorf("shares not in order: %v", chance.GetVarianceShares())
		}
	}
	if math.Abs(sum-1) > 0.02 {
		t.Errorf("shares sum to %g: %v", sum, chance.GetVarianceShares())
	}
	if s := chance.GetScreening(); s.GetUsable() == (s.GetReason() != "") || s.GetUsable() == (s.Probability == nil) {
		t.Errorf("screening %v", s)
	}

	tight := planned()
	tight.AvailableM = chance.RunPercentileM
	tight.Policy = &bowrollv1.Policy{RunFactor: proto.Float64(1), LeastProbability: proto.Float64(0.999), Legs: bowrollv1.Legs_LEGS_NEITHER}
	tight.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(out.GetFiring().GetDelayS())}
	held := compute(t, tight)
	if held.GetOutcome() != bowrollv1.Outcome_OUTCOME_PROBABILITY_TOO_LOW {
		t.Errorf("outcome %v: %s", held.GetOutcome(), held.GetLimiting())
	}
	if p := held.GetChance().GetProbability(); math.Abs(p-0.95) > 0.01 {
		t.Errorf("probability of the 95th percentile %g", p)
	}
	if held := compute(t, planned()); held.GetChance() != nil {
		t.Error("a sample was taken that nobody asked for")
	}
}

func TestWhatSurroundsATakeoff(t *testing.T) {
	c := planned()
	c.StaticFriction = proto.Float64(0.6)
	out := compute(t, c, bowrollv1.Section_SECTION_SENSITIVITIES, bowrollv1.Section_SECTION_COMMIT,
		bowrollv1.Section_SECTION_CHECK_LINE, bowrollv1.Section_SECTION_FRICTION)
	seen := map[string]int{}
	for _, s := range out.GetSensitivities() {
		seen[s.GetQuantity()]++
		if s.GetText() == "" {
			t.Errorf("no words for %v", s)
		}
		if s.GetQuantity() == "headwind_mps" && s.GetChange() > 0 && s.GetReplannedChangeM() >= 0 {
			t.Errorf("more headwind lengthens the run replanned: %v", s)
		}
	}
	for _, quantity := range []string{"headwind_mps", "gross_mass_kg", "temperature_c", "available_m", "unit_count"} {
		if seen[quantity] != 2 {
			t.Errorf("%d changes of %s", seen[quantity], quantity)
		}
	}
	commit := out.GetCommit()
	if !commit.GetLit().GetExists() || !commit.GetUnlit().GetExists() || commit.GetLit().GetTimeS() > commit.GetUnlit().GetTimeS() {
		t.Errorf("commit points %v", commit)
	}
	line := out.GetCheckLine()
	if !line.GetReached() || line.GetMarkM() != out.GetRoll().GetDistanceM()/2 || line.GetLatestTimeS() < line.GetTimeS() {
		t.Errorf("check line %v", line)
	}
	f := out.GetFriction()
	if !(f.GetUnlitCriticalFriction() < f.GetBareCriticalFriction() && f.GetBareCriticalFriction() < f.GetBurningCriticalFriction()) {
		t.Errorf("critical friction %v", f)
	}
	if f.GetBreaksLooseAlone() || f.GetBreakOutCount()+f.GetLiftOffCount() != 2 {
		t.Errorf("breaking loose: %v", f)
	}
}

// A batch of planned firings is the same bits on one goroutine and on eight.
func TestPlannedBatchOnAnyNumberOfGoroutines(t *testing.T) {
	snapshot := testSnapshot(t)
	req := &bowrollv1.TakeoffsBatchComputeRequest{Sections: []bowrollv1.Section{bowrollv1.Section_SECTION_CHANCE}}
	for i := range 6 {
		c := planned()
		c.GrossMassKg = proto.Float64(4600 + 100*float64(i))
		req.Cases = append(req.Cases, c)
	}
	one, err := NewTakeoffs(testValidator(t), snapshot, 1).BatchCompute(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	many, err := NewTakeoffs(testValidator(t), snapshot, 8).BatchCompute(context.Background(), req)
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(one, many) {
		t.Error("the answers differ")
	}
}

// The wind limit of a planned firing is that of the same firing said outright.
func TestWindLimitOfAPlannedFiring(t *testing.T) {
	limit := func(c *bowrollv1.TakeoffCase) *bowrollv1.Limit {
		out, err := NewWindLimits(testValidator(t), testSnapshot(t), 1).Compute(context.Background(), &bowrollv1.WindLimitsComputeRequest{
			Case: c, FiringPlan: bowrollv1.FiringPlan_FIRING_PLAN_FIXED,
		})
		if err != nil {
			t.Fatal(err)
		}
		return out.GetLimits()[0].GetLeastHeadwindMps()
	}
	used := compute(t, planned()).GetFiring()
	said := sample()
	said.Boosters.Firing = &bowrollv1.Firing{Mode: used.GetMode(), DelayS: used.DelayS, ReactionS: used.ReactionS}
	if got, want := limit(planned()), limit(said); !proto.Equal(got, want) {
		t.Errorf("least headwind %v, said outright %v", got, want)
	}
}
