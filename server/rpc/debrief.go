package rpc

import (
	"context"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/calibrate"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// DebriefPlan lays what the sorties of a plan did beside what was planned.
func (o *Observations) DebriefPlan(ctx context.Context, r *bowrollv1.DebriefPlanRequest) (*bowrollv1.DebriefPlanResponse, error) {
	site, id, err := o.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	var plan store.Plan
	if err := o.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		plan, err = reader.Plan(ctx, id)
		return err
	}); err != nil {
		return nil, err
	}
	cycle, err := cycleOf(plan)
	if err != nil {
		return nil, err
	}
	answer, err := answerOf(plan)
	if err != nil {
		return nil, err
	}
	// With the catalog that the plan was made with, so that a correction since
	// then explains nothing away.
	rs, err := o.at(ctx, plan.CatalogRevision)
	if err != nil {
		return nil, err
	}
	runs, err := o.resolvedRuns(ctx, rs, site, store.ObservedRunFilter{Plan: id})
	if err != nil {
		return nil, err
	}
	flown := map[string]resolvedRun{}
	for _, one := range runs {
		flown[one.message.GetSortie()] = one // the last of those recorded
	}
	launched := map[string]bool{}
	for _, s := range plan.Sorties {
		launched[s.ID] = s.State == store.SortieLaunched
	}
	masses := map[string]float64{}
	for _, s := range cycle.GetSorties() {
		masses[s.GetId()] = s.GetGrossMassKg()
	}
	out := &bowrollv1.DebriefPlanResponse{Provenance: provenance(rs.catalog, r)}
	for _, l := range answer.GetLaunches() {
		one, recorded := flown[l.GetSortie()]
		if launched[l.GetSortie()] && !recorded {
			out.UnrecordedSorties = append(out.UnrecordedSorties, l.GetSortie())
		}
		row, err := debriefRow(ctx, l, masses[l.GetSortie()], one)
		if err != nil {
			return nil, err
		}
		out.Rows = append(out.Rows, row)
	}
	return out, nil
}

// debriefRow is one launch as planned, beside the run that was recorded of it.
func debriefRow(ctx context.Context, l *bowrollv1.PlannedLaunch, massKG float64, one resolvedRun) (*bowrollv1.DebriefRow, error) {
	t := l.GetTakeoff()
	row := &bowrollv1.DebriefRow{
		Sortie: l.GetSortie(), PlannedMassKg: &massKG, PlannedUnitCount: proto.Int32(0),
		PlannedHeadwindMps: proto.Float64(t.GetWind().GetCreditedHeadwindMps()),
		PlannedDistanceM:   proto.Float64(t.GetRoll().GetDistanceM()), PlannedTimeS: proto.Float64(t.GetRoll().GetTimeS()),
	}
	for _, d := range l.GetDraws() {
		*row.PlannedUnitCount += d.GetUnitCount()
	}
	if f := t.GetFiring(); f != nil {
		row.PlannedCommandS = f.DelayS
	}
	m := one.message
	if m == nil {
		row.Remark = "no run was recorded"
		return row, nil
	}
	row.ObservedRun, row.ActualMassKg = m.GetName(), m.GetConditions().GrossMassKg
	row.ActualUnitCount = proto.Int32(m.GetConditions().GetBoosters().GetCount())
	row.ActualCommandS = m.GetConditions().GetBoosters().GetFiring().DelayS
	row.ActualDistanceM, row.ActualTimeS = m.LiftoffDistanceM, m.LiftoffTimeS
	row.DistanceDifferenceM = lessOrNil(row.ActualDistanceM, row.PlannedDistanceM)
	if one.run == nil {
		row.Remark = "the run is not comparable: " + one.reason
		return row, nil
	}
	row.ActualHeadwindMps = proto.Float64(one.run.Setting.HeadwindMPS)
	return row, explain(ctx, row, l, one.run)
}

// explain says how much of the difference mass, headwind and firing make: the
// run as it was, less the run with the one input as planned.
func explain(ctx context.Context, row *bowrollv1.DebriefRow, l *bowrollv1.PlannedLaunch, run *calibrate.Run) error {
	as := func(change func(*calibrate.Run)) *calibrate.Run {
		other := *run
		change(&other)
		return &other
	}
	list := []calibrate.Run{
		*run,
		*as(func(r *calibrate.Run) { r.Setting.GrossMassKG = row.GetPlannedMassKg() }),
		*as(func(r *calibrate.Run) { r.Setting.HeadwindMPS = row.GetPlannedHeadwindMps() }),
		*as(func(r *calibrate.Run) { firedAsPlanned(r, l) }),
	}
	found, err := calibrate.Residuals(ctx, list)
	if err != nil {
		if ctx.Err() != nil {
			return contextFault(ctx.Err())
		}
		return err
	}
	says := found[0].DistanceM
	if says == nil {
		row.Remark = "as it was flown the model does not get it off: " + found[0].Reason
		return nil
	}
	row.ConditionsEffectM = lessOrNil(says, row.PlannedDistanceM)
	row.MassEffectM = lessOrNil(says, found[1].DistanceM)
	row.HeadwindEffectM = lessOrNil(says, found[2].DistanceM)
	row.FiringEffectM = lessOrNil(says, found[3].DistanceM)
	row.UnexplainedM = lessOrNil(row.ActualDistanceM, says)
	row.Remark = remark(row, found[0])
	return nil
}

// firedAsPlanned fires the units of a run when it was planned; where other units
// were fitted the firing is left as it was.
func firedAsPlanned(r *calibrate.Run, l *bowrollv1.PlannedLaunch) {
	f := l.GetTakeoff().GetFiring()
	if f == nil || len(r.Setting.Units) == 0 {
		return
	}
	units := append([]booster.Unit(nil), r.Setting.Units...)
	for i := range units {
		units[i].Dud = false
	}
	r.Setting.Units = units
	switch f.GetMode() {
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		r.Firing = takeoff.Firing{Mode: takeoff.Rolling, DelayS: f.GetDelayS()}
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		r.Firing = takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: f.GetReactionS()}
	case bowrollv1.FiringMode_FIRING_MODE_UNLIT:
		r.Firing = takeoff.Firing{Mode: takeoff.Unlit}
	}
}

// remark is what to learn, in words.
func remark(row *bowrollv1.DebriefRow, found calibrate.Residual) string {
	if found.Flag != calibrate.Sound {
		return "look at how it was observed: " + found.Reason
	}
	if row.UnexplainedM == nil || found.Score == nil {
		return "no distance was measured"
	}
	score := math.Abs(*found.Score)
	switch {
	case score > 3:
		return fmt.Sprintf("%.1f standard deviations from what the model says of it as it was flown: look into this one", score)
	case score > 2:
		return fmt.Sprintf("%.1f standard deviations from what the model says of it as it was flown", score)
	case math.Abs(row.GetConditionsEffectM()) > 2*math.Abs(*row.UnexplainedM):
		return "as the model says of it as it was flown; the difference is that of the conditions"
	}
	return "as the model says of it as it was flown"
}
