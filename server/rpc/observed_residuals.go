package rpc

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"bowroll/perf/calibrate"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/store"
)

// contextFault is the end of a call's context as a status.
func contextFault(err error) error { return status.FromContextError(err).Err() }

// at is the resolver over a revision of the catalog, the one that holds where
// revision is empty.
func (o *Observations) at(ctx context.Context, revision string) (resolver, error) {
	if revision == "" || revision == o.snapshot.Revision() {
		return o.resolver, nil
	}
	snapshot, err := o.kept.Revision(ctx, revision)
	if err != nil {
		return resolver{}, refused(err)
	}
	return resolver{validator: o.resolver.validator, catalog: newLibrary(snapshot)}, nil
}

// Revision returns a revision of the catalog that held once. An unknown one is
// [store.NotFound] with those there are.
func (k *KeptCatalog) Revision(ctx context.Context, revision string) (found *catalog.Snapshot, err error) {
	if now := k.Snapshot(); now.Revision() == revision {
		return now, nil
	}
	err = k.store.View(ctx, store.Fleet, func(ctx context.Context, r store.Reader) error {
		found, err = k.read(ctx, r, revision)
		if !store.Is(err, store.NotFound) {
			return err
		}
		known, listErr := r.CatalogRevisions(ctx, 0, mostNames)
		if listErr != nil {
			return listErr
		}
		names := make([]string, len(known))
		for i, c := range known {
			names[i] = c.Revision
		}
		return store.Errorf(store.NotFound, "CATALOG_REVISION_NOT_FOUND", "the catalog has no revision %s; the newest are %s", revision, strings.Join(names, ", ")).
			At("catalog_revision").With("revision", revision)
	})
	return found, err
}

// TabulateResiduals compares the runs of a site with the model.
func (o *Observations) TabulateResiduals(ctx context.Context, r *bowrollv1.TabulateResidualsRequest) (*bowrollv1.TabulateResidualsResponse, error) {
	site, err := o.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	rs, err := o.at(ctx, r.GetCatalogRevision())
	if err != nil {
		return nil, err
	}
	runs, err := o.resolvedRuns(ctx, rs, site, runFilter(r))
	if err != nil {
		return nil, err
	}
	rows, drifts, err := residualRows(ctx, runs)
	if err != nil {
		return nil, err
	}
	if runFilter(r) == (store.ObservedRunFilter{}) && rs.catalog == o.resolver.catalog {
		o.watch.tell(site, drifts)
	}
	return &bowrollv1.TabulateResidualsResponse{
		Rows: rows, Groups: residualGroups(rows), Drifts: drifts, Provenance: provenance(rs.catalog, r),
	}, nil
}

// residualRows are the rows of runs and the drift of each type among them.
func residualRows(ctx context.Context, runs []resolvedRun) (rows []*bowrollv1.ResidualRow, drifts []*bowrollv1.Drift, err error) {
	sums := map[string]*calibrate.Drift{}
	alarms := map[string]string{}
	rows = make([]*bowrollv1.ResidualRow, len(runs))
	for i, one := range runs {
		rows[i] = rowOf(i, one.message)
		if one.run == nil {
			rows[i].Flag, rows[i].Reason = bowrollv1.RunFlag_RUN_FLAG_UNKNOWN, one.reason
			continue
		}
		found, err := calibrate.Residuals(ctx, []calibrate.Run{*one.run})
		if err != nil {
			if ctx.Err() != nil {
				err = contextFault(ctx.Err())
			}
			return nil, nil, err
		}
		fillRow(rows[i], one.run, found[0])
		if found[0].Flag != calibrate.Sound || found[0].Score == nil {
			continue
		}
		kind := rows[i].GetAircraftType()
		if sums[kind] == nil {
			fresh := calibrate.NewDrift(calibrate.DefaultSettings().FalseAlarmRuns)
			sums[kind] = &fresh
		}
		sum := sums[kind]
		sum.Add(*found[0].Score, i)
		if sum.Alarm == i {
			alarms[kind] = rows[i].GetObservedRun()
		}
		rows[i].DriftLongScore, rows[i].DriftShortScore = proto.Float64(sum.Long), proto.Float64(sum.Short)
	}
	for _, kind := range sortedNames(sums) {
		drifts = append(drifts, driftMessage(kind, *sums[kind], calibrate.DefaultSettings().FalseAlarmRuns, alarms[kind]))
	}
	return rows, drifts, nil
}

func sortedNames[V any](m map[string]V) []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func driftMessage(kind string, d calibrate.Drift, falseAlarms float64, run string) *bowrollv1.Drift {
	return &bowrollv1.Drift{
		AircraftType: kind, Alarm: d.Alarm >= 0, AlarmRun: run, LongScore: d.Long, ShortScore: d.Short, ThresholdScore: d.Threshold,
		AllowanceScore: d.Allowance, FalseAlarmRuns: falseAlarms, DetectionRuns: calibrate.RunsToAlarm(d.Threshold, 1), RunCount: int32(d.Count),
	}
}

// rowOf is what a run says of itself.
func rowOf(index int, m *bowrollv1.ObservedRun) *bowrollv1.ResidualRow {
	return &bowrollv1.ResidualRow{
		Index: int32(index), ObservedRun: m.GetName(), LaunchTime: m.GetLaunchTime().AsTime().Format(time.RFC3339Nano),
		AircraftType: m.GetConditions().GetAircraftType(), Tail: m.GetTail(), Deck: m.GetConditions().GetDeck(), Lot: m.GetLot(),
		Plan: m.GetPlan(), Sortie: m.GetSortie(), GrossMassKg: m.GetConditions().GetGrossMassKg(), UnitCount: m.GetConditions().GetBoosters().GetCount(),
		ObservedDistanceM: m.LiftoffDistanceM, ObservedTimeS: m.LiftoffTimeS, ObservedAirspeedMps: m.LiftoffAirspeedMps,
	}
}

// fillRow adds what the model says.
func fillRow(row *bowrollv1.ResidualRow, run *calibrate.Run, found calibrate.Residual) {
	row.DensityKgM3, row.HeadwindMps = proto.Float64(run.Setting.Air.DensityKgM3), proto.Float64(run.Setting.HeadwindMPS)
	row.PredictedDistanceM, row.PredictedTimeS, row.PredictedAirspeedMps = found.DistanceM, found.TimeS, found.AirspeedMPS
	row.DistanceResidualM = lessOrNil(row.ObservedDistanceM, found.DistanceM)
	row.TimeResidualS = lessOrNil(row.ObservedTimeS, found.TimeS)
	row.AirspeedResidualMps = lessOrNil(row.ObservedAirspeedMps, found.AirspeedMPS)
	if row.ObservedDistanceM != nil && found.DistanceM != nil && *found.DistanceM > 0 {
		row.DistanceRatio = proto.Float64(*row.ObservedDistanceM / *found.DistanceM)
	}
	row.StandardDistanceM, row.StandardPredictedDistanceM = found.StandardDistanceM, found.StandardPredictedM
	row.DistanceSigmaM = found.DistanceSigmaM
	if row.ObservedDistanceM != nil {
		row.DistanceScore = found.Score
	}
	row.Flag, row.Reason = flagName(found.Flag), found.Reason
}

func lessOrNil(a, b *float64) *float64 {
	if a == nil || b == nil {
		return nil
	}
	return proto.Float64(*a - *b)
}

func flagName(f calibrate.Flag) bowrollv1.RunFlag {
	switch f {
	case calibrate.Sound:
		return bowrollv1.RunFlag_RUN_FLAG_NONE
	case calibrate.NoLiftoff:
		return bowrollv1.RunFlag_RUN_FLAG_NO_LIFTOFF
	case calibrate.Contradiction:
		return bowrollv1.RunFlag_RUN_FLAG_CONTRADICTION
	case calibrate.WindOutside:
		return bowrollv1.RunFlag_RUN_FLAG_WIND
	case calibrate.Outlier:
		return bowrollv1.RunFlag_RUN_FLAG_OUTLIER
	}
	return bowrollv1.RunFlag_RUN_FLAG_UNKNOWN
}

// residualGroups sums up the sound rows by what they have in common.
func residualGroups(rows []*bowrollv1.ResidualRow) []*bowrollv1.ResidualGroup {
	var list []*bowrollv1.ResidualGroup
	for _, group := range []string{"aircraft_type", "deck", "lot", "tail"} {
		members := map[string][]*bowrollv1.ResidualRow{}
		for _, row := range rows {
			m := row.ProtoReflect()
			key := m.Get(m.Descriptor().Fields().ByName(protoreflect.Name(group))).String()
			if key != "" && row.GetFlag() == bowrollv1.RunFlag_RUN_FLAG_NONE {
				members[key] = append(members[key], row)
			}
		}
		for _, key := range sortedNames(members) {
			list = append(list, residualGroup(group, key, members[key]))
		}
	}
	return list
}

func residualGroup(group, key string, rows []*bowrollv1.ResidualRow) *bowrollv1.ResidualGroup {
	out := &bowrollv1.ResidualGroup{Group: group, Key: key, RunCount: int32(len(rows))}
	column := func(of func(*bowrollv1.ResidualRow) *float64) (values []float64) {
		for _, row := range rows {
			if v := of(row); v != nil {
				values = append(values, *v)
			}
		}
		return values
	}
	ratios := column(func(r *bowrollv1.ResidualRow) *float64 { return r.DistanceRatio })
	if out.MedianDistanceRatio = median(ratios); out.MedianDistanceRatio != nil {
		away := make([]float64, len(ratios))
		for i, v := range ratios {
			away[i] = math.Abs(v - *out.MedianDistanceRatio)
		}
		out.DistanceRatioSpread = proto.Float64(1.4826 * *median(away)) // that of a normal distribution is its standard deviation
	}
	distances := column(func(r *bowrollv1.ResidualRow) *float64 { return r.DistanceResidualM })
	out.MeanDistanceResidualM = mean(distances)
	for i := range distances {
		distances[i] *= distances[i]
	}
	if square := mean(distances); square != nil {
		out.DistanceRmsM = proto.Float64(math.Sqrt(*square))
	}
	out.MeanTimeResidualS = mean(column(func(r *bowrollv1.ResidualRow) *float64 { return r.TimeResidualS }))
	out.MeanDistanceScore = mean(column(func(r *bowrollv1.ResidualRow) *float64 { return r.DistanceScore }))
	return out
}

func mean(values []float64) *float64 {
	if len(values) == 0 {
		return nil
	}
	var sum float64
	for _, v := range values {
		sum += v
	}
	return proto.Float64(sum / float64(len(values)))
}

func median(values []float64) *float64 {
	if len(values) == 0 {
		return nil
	}
	sorted := slices.Sorted(slices.Values(values))
	middle := len(sorted) / 2
	if len(sorted)%2 == 1 {
		return proto.Float64(sorted[middle])
	}
	return proto.Float64((sorted[middle-1] + sorted[middle]) / 2)
}
