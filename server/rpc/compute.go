package rpc

import (
	"context"
	"math"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// sections is the set of parts asked for.
type sections map[bowrollv1.Section]bool

func sectionSet(list []bowrollv1.Section) sections {
	if len(list) == 0 {
		return nil
	}
	set := sections{}
	for _, s := range list {
		set[s] = true
	}
	return set
}

// run is a resolved case made ready for the model.
type run struct {
	res      *resolved
	runner   *takeoff.Runner
	own      takeoff.Runner // what runner points to where its memory is reused
	schedule booster.Schedule
	parts    surroundings
}

// prepare makes the model's runner. The faults are those that only the model
// can tell.
func (rs resolver) prepare(ctx context.Context, prefix string, res *resolved) (*run, []*bowrollv1.Violation, error) {
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, refusal.FromModel(prefix, err), nil
	}
	r := &run{res: res, runner: runner}
	firing := res.Firing
	if res.Best {
		best := runner.BestFiring(&r.schedule, res.Setting.Units, takeoff.FiringSearch{
			Brakes: true, ReactionS: firing.ReactionS,
		})
		firing = best.Firing
	}
	if res.Planned && len(res.Setting.Units) > 0 {
		plan, err := rs.sampler.planFiring(ctx, res, runner, res.search(), rs.sampler.plan)
		if err != nil {
			return nil, nil, err
		}
		firing = plan.Firing
	}
	firing.Schedule(&r.schedule, res.Setting.Units)
	return r, nil, nil
}

// bare is the same aircraft without units.
func bare(res *resolved) (*takeoff.Runner, error) {
	setting := res.Setting
	setting.Units = nil
	return takeoff.NewRunner(setting)
}

// computeTakeoff resolves and answers a case.
func (rs resolver) computeTakeoff(ctx context.Context, prefix string, c *bowrollv1.TakeoffCase, want sections) (*bowrollv1.Takeoff, []*bowrollv1.Violation, error) {
	r := rs.catalog.runs.begin()
	// Not deferred: memory that a panic left half written is not used again.
	answer, found, err := rs.compute(ctx, prefix, r, c, want)
	rs.catalog.runs.end(r)
	return answer, found, err
}

// compute answers a case in the memory of r.
func (rs resolver) compute(ctx context.Context, prefix string, r *run, c *bowrollv1.TakeoffCase, want sections) (*bowrollv1.Takeoff, []*bowrollv1.Violation, error) {
	res := r.res
	found, err := rs.resolveInto(res, prefix, c)
	if err != nil || len(found) > 0 {
		return nil, found, err
	}
	if found := checkSections(prefix, res.Case, want); len(found) > 0 {
		return nil, found, nil
	}
	if err := r.own.Reset(res.Setting); err != nil {
		return nil, refusal.FromModel(prefix, err), nil
	}
	plan := nominalPlan(res, want)
	if want[bowrollv1.Section_SECTION_WORTH] && len(res.Setting.Units) > 0 {
		if plan.Bare, err = bare(res); err != nil {
			return nil, refusal.FromModel(prefix, err), nil
		}
	}
	var planned *chance.Planned
	if res.Planned && len(res.Setting.Units) > 0 {
		search := res.search()
		search.House, search.Report = takeoff.HouseRules(), planReport
		if planned, err = rs.sampler.planFiring(ctx, res, r.runner, search, rs.sampler.plan); err != nil {
			return nil, nil, err
		}
		plan.Firing, plan.Failures = planned.Firing, true
	}
	a := r.runner.Assess(&r.schedule, plan, demand(res))
	if found := r.safety(prefix, &a, want); len(found) > 0 {
		return nil, found, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, status.FromContextError(err).Err()
	}
	sampled, err := r.judgeChance(ctx, rs.sampler, &a, want[bowrollv1.Section_SECTION_CHANCE])
	if err != nil {
		return nil, nil, err
	}
	s := new(slab)
	out := r.answer(s, &a, want)
	out.Chance = sampled
	out.KeepClear, out.DropZone, out.FiringLines = r.parts.keepClear, r.parts.dropZone, r.parts.firingLines
	if planned != nil {
		out.PlannedFiring = r.plannedAnswer(planned)
	}
	if err := r.around(out, &a, want); err != nil {
		return nil, refusal.FromModel(prefix, err), nil
	}
	if want[bowrollv1.Section_SECTION_BOX] {
		out.Box = r.box(&a)
	}
	out.Provenance = &s.provenance
	provenanceInto(out.Provenance, rs.catalog, res.Case)
	return out, nil, nil
}

// nominalPlan is what a case asks of the model where nothing is left to chance.
func nominalPlan(res *resolved, want sections) takeoff.Plan {
	return takeoff.Plan{
		Firing: res.Firing, Search: res.Best,
		Beside:   want[bowrollv1.Section_SECTION_BEST_FIRING],
		Failures: want[bowrollv1.Section_SECTION_FAILURES],
	}
}

// around adds the parts that surround the run.
func (r *run) around(out *bowrollv1.Takeoff, a *takeoff.Assessment, want sections) error {
	if want[bowrollv1.Section_SECTION_SENSITIVITIES] {
		out.Sensitivities = r.sensitivities(a)
	}
	if want[bowrollv1.Section_SECTION_COMMIT] {
		out.Commit = r.commit(a)
	}
	if want[bowrollv1.Section_SECTION_CHECK_LINE] {
		out.CheckLine = r.checkLine(a)
	}
	if want[bowrollv1.Section_SECTION_FRICTION] {
		without, err := bare(r.res)
		if err != nil {
			return err
		}
		out.Friction = r.friction(without)
	}
	return nil
}

// answer puts an assessment into the contract's message.
func (r *run) answer(s *slab, a *takeoff.Assessment, want sections) *bowrollv1.Takeoff {
	res := r.res
	out := &s.takeoff
	out.Id = res.Case.GetId()
	out.Outcome = outcome(a.Verdict.Outcome())
	out.Air = s.airAnswer(res.Setting.Air)
	out.Wind = res.Wind
	out.Roll = s.rollAnswer(&a.Roll)
	out.AvailableM = s.number(res.Available)
	out.RequiredRunM = s.finite(a.RequiredM)
	out.MarginM = s.finite(a.MarginM)
	out.Policy = res.Policy
	if a.Roll.LiftsOff {
		out.RunM = s.number(a.Roll.RunM)
	}
	if a.AirDistance != nil {
		out.AirDistance = airDistanceAnswer(*a.AirDistance)
		if a.AirDistance.Reached {
			out.TakeoffDistanceM = s.number(a.Roll.RunM + a.AirDistance.DistanceM)
		}
	}
	if a.OffBow != nil {
		out.OffBow = r.offBowAnswer(a)
	}
	if a.Climb != nil {
		out.Climb = s.climbAnswer(*a.Climb, a.Firing)
	}
	if len(res.Setting.Units) > 0 {
		out.Firing = s.firingAnswer(r.runner, &r.schedule, a.Firing, res.Best || res.Planned, res.Wind.GetHeadwindMps())
	}
	if a.Best != nil && want[bowrollv1.Section_SECTION_BEST_FIRING] {
		out.BestFiring = r.bestAnswer(a.Best)
	}
	if a.Legs != nil {
		out.Covered = proto.Bool(a.Legs.Covered)
		for i := range a.Legs.Legs {
			out.Failures = append(out.Failures, r.failureAnswer(&a.Legs.Legs[i]))
		}
	}
	if a.Asymmetry != nil {
		out.Asymmetry = s.asymmetryAnswer(a.Asymmetry)
	}
	if a.Bare != nil {
		out.Worth = worthAnswer(a)
	}
	out.Findings = s.findingsAnswer(a)
	out.Limiting = limitingOf(out.Findings, a)
	if want[bowrollv1.Section_SECTION_LIMITS] {
		out.Limits = r.limits(a)
		r.addChanges(out, a)
	}
	out.Cautions = r.cautions(a)
	if len(want) > 0 {
		// The searches above use the schedule as scratch memory.
		a.Firing.Schedule(&r.schedule, res.Setting.Units)
	}
	return out
}

func (r *run) offBowAnswer(a *takeoff.Assessment) *bowrollv1.OffBow {
	out := &bowrollv1.OffBow{
		EdgeAirspeedMps: r.runner.AirspeedMPS(a.Edge),
		SpeedRatio:      a.OffBow.SpeedRatio,
		FliesAway:       a.OffBow.Recovers,
	}
	if a.OffBow.Recovers {
		out.SinkM = proto.Float64(a.OffBow.SinkM)
		out.LowestM = proto.Float64(*r.res.EdgeM - a.OffBow.SinkM)
	}
	return out
}

func (s *slab) climbAnswer(c takeoff.Climb, f takeoff.Firing) *bowrollv1.Climb {
	out := &s.climb
	out.GradientWithoutBoosters = s.number(c.GradientUnlit)
	if c.HasBurn && f.Mode != takeoff.Unlit {
		out.BurnEndMinusLiftoffS = s.number(-c.LiftoffAfterBurnoutS)
		if c.LiftoffAfterBurnoutS <= 0 {
			out.GradientWithBoosters = s.number(c.GradientLit)
		}
	}
	return out
}

func worthAnswer(a *takeoff.Assessment) *bowrollv1.Worth {
	out := new(bowrollv1.Worth)
	if a.Bare.LiftsOff {
		out.RunWithoutUnitsM = proto.Float64(a.Bare.RunM)
	}
	if a.Roll.LiftsOff {
		out.RunWithUnitsM = proto.Float64(a.Roll.RunM)
	}
	if a.Unlit.LiftsOff {
		out.RunUnlitM = proto.Float64(a.Unlit.RunM)
	}
	if a.Bare.LiftsOff && a.Roll.LiftsOff && a.Bare.RunM > 0 {
		out.Saving = proto.Float64(1 - a.Roll.RunM/a.Bare.RunM)
	}
	return out
}

// bestAnswer gives the nominal best, the house rules beside it and what half a
// second to either side costs.
func (r *run) bestAnswer(b *takeoff.BestFiring) *bowrollv1.BestFiring {
	if b.Firing.Mode == takeoff.OnBrakes && b.HoldMarginN < 0 {
		allowed := *b
		allowed.Choice = b.Rolling
		b = &allowed
	}
	out := &bowrollv1.BestFiring{Best: r.option("best", b.Choice, b.Roll)}
	if b.Brakes != nil {
		out.HouseRules = append(out.HouseRules, r.option("on the brakes", *b.Brakes, b.Roll))
	}
	for _, house := range b.House {
		out.HouseRules = append(out.HouseRules, r.option(houseName(house.Firing), house, b.Roll))
	}
	if b.Firing.Mode == takeoff.Rolling && b.Roll.LiftsOff {
		const aside = 0.5
		out.HalfSecondLateM = r.lossAt(b, b.Firing.DelayS+aside)
		if b.Firing.DelayS >= aside {
			out.HalfSecondEarlyM = r.lossAt(b, b.Firing.DelayS-aside)
		}
	}
	return out
}

// lossAt is the run lost by commanding at another time; nothing where it never
// lifts off then.
func (r *run) lossAt(b *takeoff.BestFiring, delayS float64) *float64 {
	takeoff.Firing{Mode: takeoff.Rolling, DelayS: delayS}.Schedule(&r.schedule, r.res.Setting.Units)
	roll := r.runner.Roll(&r.schedule)
	if !roll.LiftsOff {
		return nil
	}
	return proto.Float64(roll.RunM - b.Roll.RunM)
}

func houseName(f takeoff.Firing) string {
	if f.DelayS == 0 {
		return "at brake release"
	}
	return number(f.DelayS) + " s into the roll"
}

func (r *run) option(id string, c takeoff.Choice, best takeoff.Roll) *bowrollv1.FiringOption {
	out := &bowrollv1.FiringOption{Id: id, Mode: firingMode(c.Firing.Mode), LiftsOff: c.Roll.LiftsOff}
	if c.Firing.Mode == takeoff.Rolling {
		out.DelayS = proto.Float64(c.Firing.DelayS)
	}
	if c.Firing.Mode == takeoff.OnBrakes {
		out.HoldMarginN = proto.Float64(c.HoldMarginN)
	}
	if !c.Roll.LiftsOff {
		return out
	}
	out.RunM = proto.Float64(c.Roll.RunM)
	out.RequiredRunM = proto.Float64(c.Roll.RunM * r.res.Policy.GetRunFactor())
	if best.LiftsOff {
		out.RunOverBestM = proto.Float64(c.Roll.RunM - best.RunM)
	}
	c.Firing.Schedule(&r.schedule, r.res.Setting.Units)
	if last := r.schedule.LastThrustS(); !math.IsInf(last, 0) {
		out.BurnEndMinusLiftoffS = proto.Float64(last - c.Roll.TimeS)
	}
	return out
}

func (r *run) failureAnswer(l *takeoff.Leg) *bowrollv1.Failure {
	out := &bowrollv1.Failure{
		Kind:     failureKind(l.Failure.Kind),
		Text:     l.Failure.String(),
		GoFits:   l.GoFits,
		StopFits: l.StopFits && r.res.HasBrakes,
		Covered:  l.Accepted,
	}
	if l.Go.LiftsOff {
		out.GoRunM = proto.Float64(l.Go.RunM)
	}
	if l.StopExists {
		out.RecognisedS = proto.Float64(l.Recognised.TimeS)
		if l.Stop.Stops && r.res.HasBrakes {
			out.StopDistanceM = proto.Float64(l.Stop.End.DistanceM)
		}
	}
	switch l.ReliedOn {
	case takeoff.LegGo:
		out.Leg = bowrollv1.Leg_LEG_GO.Enum()
	case takeoff.LegStop:
		out.Leg = bowrollv1.Leg_LEG_STOP.Enum()
	}
	yaw := l.Asymmetry.BurnNM
	if math.Abs(l.Asymmetry.TailNM) > math.Abs(yaw) {
		yaw = l.Asymmetry.TailNM
	}
	out.YawMomentNm = finite(turning(yaw))
	out.BurnMomentNm, out.TailMomentNm = finite(turning(l.Asymmetry.BurnNM)), finite(turning(l.Asymmetry.TailNM))
	if !l.Accepted && l.ShortM > 0 {
		out.ShortfallM = finite(l.ShortM)
	}
	if l.Asymmetry.HasControl {
		out.Controlled = proto.Bool(l.Asymmetry.Controlled)
		out.ControlAirspeedMps = finite(max(l.Asymmetry.BurnControlMPS, l.Asymmetry.TailControlMPS))
	}
	return out
}

func failureKind(k takeoff.FailureKind) bowrollv1.FailureKind {
	switch k {
	case takeoff.OneDud:
		return bowrollv1.FailureKind_FAILURE_KIND_ONE_DUD
	case takeoff.LineDud:
		return bowrollv1.FailureKind_FAILURE_KIND_LINE_DUD
	case takeoff.AllDud:
		return bowrollv1.FailureKind_FAILURE_KIND_ALL_DUD
	case takeoff.SideLate:
		return bowrollv1.FailureKind_FAILURE_KIND_SIDE_LATE
	}
	return bowrollv1.FailureKind_FAILURE_KIND_UNEQUAL_PAIR
}
