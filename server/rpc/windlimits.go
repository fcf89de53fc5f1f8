package rpc

import (
	"context"
	"strconv"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/takeoff"
	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// WindLimits answers bowroll.v1.WindLimits. It keeps no state.
type WindLimits struct {
	bowrollv1.UnimplementedWindLimitsServer
	resolver resolver
}

// NewWindLimits computes with the catalog given.
func NewWindLimits(validator protovalidate.Validator, snapshot *catalog.Snapshot) *WindLimits {
	return &WindLimits{resolver: resolver{validator: validator, catalog: snapshot, sampler: newSampler(1)}}
}

// Compute answers the wind limits of one load for each unit count.
func (w *WindLimits) Compute(ctx context.Context, req *bowrollv1.WindLimitsComputeRequest) (*bowrollv1.WindLimitsComputeResponse, error) {
	counts := req.GetUnitCounts()
	if len(counts) == 0 {
		counts = []int32{req.GetCase().GetBoosters().GetCount()}
	}
	out := new(bowrollv1.WindLimitsComputeResponse)
	var found []*bowrollv1.Violation
	var digested []proto.Message
	for _, count := range counts {
		if err := ctx.Err(); err != nil {
			return nil, status.FromContextError(err).Err()
		}
		res, faults, err := w.resolver.resolve("case", withCount(req.GetCase(), count))
		if err != nil {
			return nil, err
		}
		if len(faults) > 0 {
			found = appendNew(found, faults)
			continue
		}
		limit, faults, err := w.limit(res, req)
		if err != nil {
			return nil, err
		}
		found = appendNew(found, faults)
		limit.UnitCount = count
		out.Limits = append(out.Limits, limit)
		out.Policy = res.Policy
		digested = append(digested, res.Case)
	}
	if count, ok := needsBoosters(req, counts); ok {
		found = append(found, &bowrollv1.Violation{
			Field: "unit_counts", Value: strconv.Itoa(int(count)), Rule: "goes-with",
			Allowed: "0, or with case.boosters given", Hint: "say which boosters",
		})
	}
	if err := refusal.Invalid(found); err != nil {
		return nil, err
	}
	out.Provenance = provenance(w.resolver.catalog, append(digested, req)...)
	return out, nil
}

// needsBoosters gives a count above zero that is asked for without saying of
// what.
func needsBoosters(req *bowrollv1.WindLimitsComputeRequest, counts []int32) (int32, bool) {
	for _, count := range counts {
		if count > 0 && req.GetCase().GetBoosters() == nil {
			return count, true
		}
	}
	return 0, false
}

// withCount is the case with another number of units; none takes the boosters
// away.
func withCount(c *bowrollv1.TakeoffCase, count int32) *bowrollv1.TakeoffCase {
	c = proto.CloneOf(c)
	if c.GetBoosters() == nil {
		return c
	}
	if count == 0 {
		c.Boosters = nil
		return c
	}
	c.Boosters.Count = proto.Int32(count)
	return c
}

// appendNew appends the faults whose field and rule are not in the list yet: the
// counts of one load share most of theirs.
func appendNew(list, faults []*bowrollv1.Violation) []*bowrollv1.Violation {
next:
	for _, f := range faults {
		for _, v := range list {
			if v.GetField() == f.GetField() && v.GetRule() == f.GetRule() && v.GetValue() == f.GetValue() {
				continue next
			}
		}
		list = append(list, f)
	}
	return list
}

// limit answers one unit count.
func (w *WindLimits) limit(res *resolved, req *bowrollv1.WindLimitsComputeRequest) (*bowrollv1.WindLimit, []*bowrollv1.Violation, error) {
	res.Best = res.Best || req.GetFiringPlan() == bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, refusal.FromModel("case", err), nil
	}
	r := &run{res: res, runner: runner}
	a := takeoff.Assessment{Firing: res.Firing}
	if res.Best && req.GetFiringPlan() == bowrollv1.FiringPlan_FIRING_PLAN_FIXED {
		// The best at the wind of the case, then held.
		a.Firing = runner.BestFiring(&r.schedule, res.Setting.Units, takeoff.FiringSearch{
			Brakes: true, ReactionS: res.Firing.ReactionS,
		}).Firing
	}
	question := r.question(&a)
	question.Replanned = req.GetFiringPlan() == bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED && len(res.Setting.Units) > 0
	least := runner.LeastHeadwind(&r.schedule, question)

	out := &bowrollv1.WindLimit{
		LeastHeadwindMps:  limitAnswer(least),
		CrosswindLimitMps: res.Limits.CrosswindMPS,
		TailwindLimitMps:  res.Limits.TailwindMPS,
		WindCeilingMps:    res.Limits.CeilingMPS,
	}
	if req.DirectionStepDeg == nil {
		return out, nil, nil
	}
	limits := wind.Limits{
		GreatestCrosswindMPS: res.Limits.CrosswindMPS,
		GreatestTailwindMPS:  res.Limits.TailwindMPS,
		CeilingMPS:           res.Limits.CeilingMPS,
	}
	switch least.Outcome {
	case takeoff.NeverFits:
		return out, nil, nil // no wind will do: there is no envelope
	case takeoff.LimitFound:
		limits.LeastHeadwindMPS = &least.Value
	}
	points, err := wind.Envelope(limits, wind.FullCredit(), 0, req.GetDirectionStepDeg())
	if err != nil {
		return nil, refusal.FromModel("direction_step_deg", err), nil
	}
	for _, p := range points {
		out.Envelope = append(out.Envelope, &bowrollv1.EnvelopePoint{
			RelativeFromDeg: p.RelativeFromDeg, Open: p.Open,
			LeastMps: p.LeastMPS, GreatestMps: p.GreatestMPS,
			LeastBinds: p.LeastBinds, GreatestBinds: p.GreatestBinds,
		})
	}
	return out, nil, nil
}
