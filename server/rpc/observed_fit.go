package rpc

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/aircraft"
	"bowroll/perf/calibrate"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// FitCorrection fits the correction of one aircraft type and keeps nothing.
func (o *Observations) FitCorrection(ctx context.Context, r *bowrollv1.FitCorrectionRequest) (*bowrollv1.CorrectionFit, error) {
	site, err := o.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	fit, err := o.fit(ctx, site, "", r.GetAircraftType(), r.GetSettings())
	if err != nil {
		return nil, err
	}
	fit.Provenance = provenance(o.snapshot, r)
	return fit, nil
}

// fit fits a correction to the runs of a site against the catalog that holds. Its
// id is what the correction would be called.
func (o *Observations) fit(ctx context.Context, site, id, kind string, asked *bowrollv1.FitSettings) (*bowrollv1.CorrectionFit, error) {
	stated, ok := o.snapshot.AircraftType(kind)
	if !ok {
		return nil, unknownName("aircraft_type", kind, o.snapshot.AircraftTypeNames())
	}
	resolved, err := o.resolvedRuns(ctx, o.resolver, site, store.ObservedRunFilter{AircraftType: kind})
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.CorrectionFit{AircraftType: kind, RunCount: int32(len(resolved)), Settings: settingsUsed(asked)}
	var runs []calibrate.Run
	for _, one := range resolved {
		if one.run == nil {
			out.FlaggedRuns = append(out.FlaggedRuns, &bowrollv1.FlaggedRun{
				ObservedRun: one.message.GetName(), Flag: bowrollv1.RunFlag_RUN_FLAG_UNKNOWN, Reason: one.reason,
			})
			continue
		}
		runs = append(runs, *one.run)
	}
	settings := settingsOf(out.Settings)
	made, err := calibrate.Make(ctx, runs, settings)
	switch {
	case errors.Is(err, calibrate.ErrNoRuns):
		return nil, refused(store.Errorf(store.Refused, "NO_RUNS", "site %s has %d runs of %s, and none that can be fitted: record runs, or look at why they are flagged", site, len(resolved), kind).
			At("aircraft_type").With("aircraft_type", kind))
	case ctx.Err() != nil:
		return nil, contextFault(ctx.Err())
	case err != nil:
		return nil, err
	}
	fitMessage(out, made, runs, settings)
	out.Proposed = proposal(stated, made, id, site, o.snapshot.Revision())
	return out, nil
}

// settingsUsed lays the settings asked for over the defaults.
func settingsUsed(asked *bowrollv1.FitSettings) *bowrollv1.FitSettings {
	d := calibrate.DefaultSettings()
	used := &bowrollv1.FitSettings{
		ThrustSigma: proto.Float64(d.Thrust), RollingFrictionSigma: proto.Float64(d.RollingFriction), DragSigma: proto.Float64(d.Drag),
		TailThrustSigma: proto.Float64(d.TailThrust), DeckFrictionSigma: proto.Float64(d.DeckFriction), LotThrustSigma: proto.Float64(d.LotThrust),
		IntervalProbability: proto.Float64(d.IntervalProbability), FoldCount: proto.Int32(int32(d.Folds)), FalseAlarmRuns: proto.Float64(d.FalseAlarmRuns),
	}
	if asked != nil {
		proto.Merge(used, asked)
	}
	return used
}

func settingsOf(s *bowrollv1.FitSettings) calibrate.Settings {
	return calibrate.Settings{
		Thrust: s.GetThrustSigma(), RollingFriction: s.GetRollingFrictionSigma(), Drag: s.GetDragSigma(),
		TailThrust: s.GetTailThrustSigma(), DeckFriction: s.GetDeckFrictionSigma(), LotThrust: s.GetLotThrustSigma(),
		IntervalProbability: s.GetIntervalProbability(), Folds: int(s.GetFoldCount()), FalseAlarmRuns: s.GetFalseAlarmRuns(),
	}
}

// fitMessage fills in what was fitted.
func fitMessage(out *bowrollv1.CorrectionFit, fit *calibrate.Fit, runs []calibrate.Run, settings calibrate.Settings) {
	for _, e := range []struct {
		factor string
		calibrate.Estimate
	}{{"thrust", fit.Thrust}, {"rolling_friction", fit.RollingFriction}, {"drag", fit.Drag}} {
		out.Estimates = append(out.Estimates, &bowrollv1.FactorEstimate{
			Factor: e.factor, Value: 1 + e.Value, Sigma: e.Sigma, Low: 1 + e.Low, High: 1 + e.High, PriorSigma: e.Prior, LearnedFraction: e.Learned(),
		})
	}
	factors := map[calibrate.Group]string{calibrate.Tail: "thrust", calibrate.Deck: "rolling_friction", calibrate.Lot: "unit_thrust"}
	for _, g := range fit.Offsets {
		out.Offsets = append(out.Offsets, &bowrollv1.GroupOffset{
			Group: string(g.Group), Key: g.Key, Factor: factors[g.Group], RunCount: int32(g.Runs),
			Value: g.Value, Sigma: g.Sigma, Low: g.Low, High: g.High, Alone: g.Alone,
		})
	}
	out.ThrustDragCorrelation, out.ThrustFrictionCorrelation = fit.ThrustDrag, fit.ThrustFriction
	out.FittedCount, out.ScatterRatio = int32(fit.Fitted), fit.Scale
	for i, j := range fit.Judgements {
		if j.Flag != calibrate.Sound {
			out.FlaggedRuns = append(out.FlaggedRuns, &bowrollv1.FlaggedRun{ObservedRun: runs[i].ID, Flag: flagName(j.Flag), Reason: j.Reason})
		}
	}
	out.UncorrectedError, out.FittedError, out.HeldOutError = errorMessage(fit.Uncorrected), errorMessage(fit.InSample), errorMessage(fit.HeldOut)
	alarm := ""
	if fit.Drift.Alarm >= 0 {
		alarm = runs[fit.Drift.Alarm].ID
	}
	out.Drift = driftMessage(out.GetAircraftType(), fit.Drift, settings.FalseAlarmRuns, alarm)
	out.Cautions = fit.Cautions
}

func errorMessage(e calibrate.Error) *bowrollv1.FitError {
	return &bowrollv1.FitError{DistanceRmsM: e.DistanceRMSM, DistanceBiasM: e.DistanceBiasM, TimeRmsS: e.TimeRMSS, ScoreRms: e.ScoreRMS}
}

// proposal is the correction that a type would have: what was fitted on top of
// what it has already.
func proposal(stated *bowrollv1.AircraftType, fit *calibrate.Fit, id, site, revision string) *bowrollv1.AircraftCorrection {
	fitted := aircraft.Correction{Thrust: 1 + fit.Thrust.Value, RollingFriction: 1 + fit.RollingFriction.Value, Drag: 1 + fit.Drag.Value}
	whole := correction(stated).Times(fitted)
	return &bowrollv1.AircraftCorrection{
		Id: id, FittedRevision: revision,
		Source:       fmt.Sprintf("%d of %d observed runs of sites/%s", fit.Fitted, len(fit.Judgements), site),
		ThrustFactor: proto.Float64(whole.Thrust), RollingFrictionFactor: proto.Float64(whole.RollingFriction), DragFactor: proto.Float64(whole.Drag),
	}
}
