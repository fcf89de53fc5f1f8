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
	cycles   *Cycles
	workers  int
}

// NewWindLimits computes with the catalog given, a table on as many goroutines
// as workers says (at least one). How many there are changes no answer.
func NewWindLimits(validator protovalidate.Validator, snapshot *catalog.Snapshot, workers int) *WindLimits {
	return &WindLimits{
		resolver: newResolver(validator, snapshot, 1),
		cycles:   NewCycles(validator, snapshot, workers), workers: max(1, workers),
	}
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
	var loads []*windLoad
	for _, count := range counts {
		if err := ctx.Err(); err != nil {
			return nil, status.FromContextError(err).Err()
		}
		load, faults, err := w.resolver.windLoad(ctx, "case", withCount(req.GetCase(), count), req.GetFiringPlan())
		if err != nil {
			return nil, err
		}
		if len(faults) > 0 {
			found = appendNew(found, faults)
			continue
		}
		load.count = count
		loads = append(loads, load)
		digested = append(digested, load.res.Case)
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
	for _, load := range loads {
		if err := ctx.Err(); err != nil {
			return nil, status.FromContextError(err).Err()
		}
		limit, err := load.find()
		if err != nil {
			return nil, err
		}
		answer := load.answer(limit)
		if req.DirectionStepDeg != nil {
			points, err := load.envelope(limit, req.GetDirectionStepDeg())
			if err != nil {
				return nil, refusal.Invalid(refusal.FromModel("direction_step_deg", err))
			}
			answer.Envelope = points
		}
		out.Limits = append(out.Limits, answer)
		out.Policy = load.res.Policy
		out.OwnHeadwindMps = load.ownMPS
		out.Cautions = appendCautions(out.Cautions, load.cautions(limit))
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

// answer puts a limit into the contract's message.
func (l *windLoad) answer(limit takeoff.WindLimit) *bowrollv1.WindLimit {
	out := &bowrollv1.WindLimit{
		UnitCount:           l.count,
		LeastHeadwindMps:    windLimitAnswer(limit),
		GreatestHeadwindMps: finite(limit.MostMPS),
		CrosswindLimitMps:   l.res.Limits.CrosswindMPS,
		TailwindLimitMps:    l.res.Limits.TailwindMPS,
		WindCeilingMps:      l.res.Limits.CeilingMPS,
		Binds:               binding(limit.Binds),
		GreatestBinds:       binding(limit.MostBinds),
		Text:                l.sentence(limit),
	}
	if limit.Outcome == takeoff.NeverFits {
		out.GreatestHeadwindMps, out.GreatestBinds = nil, nil
		return out
	}
	out.FiringMode, out.DelayS = firedAt(limit.At.Firing, len(l.res.Setting.Units))
	if roll := limit.At.Roll; roll.LiftsOff {
		out.RunM = proto.Float64(roll.RunM)
		out.RequiredRunM = proto.Float64(roll.RunM * l.res.Policy.GetRunFactor())
	}
	return out
}

// firedAt is the firing at a limit.
func firedAt(f takeoff.Firing, units int) (mode *bowrollv1.FiringMode, delayS *float64) {
	if units == 0 {
		return nil, nil
	}
	if f.Mode == takeoff.Rolling {
		delayS = proto.Float64(f.DelayS)
	}
	return firingMode(f.Mode).Enum(), delayS
}

func windLimitAnswer(l takeoff.WindLimit) *bowrollv1.Limit {
	return limitAnswer(takeoff.Limit{Outcome: l.Outcome, Value: l.HeadwindMPS})
}

// binding is an outcome that binds; nothing where none does.
func binding(o takeoff.Outcome) *bowrollv1.Outcome {
	if !o.Holds() {
		return nil
	}
	return outcome(o).Enum()
}

// envelope gives the winds over deck that keep the limits of a load.
func (l *windLoad) envelope(limit takeoff.WindLimit, stepDeg float64) ([]*bowrollv1.EnvelopePoint, error) {
	if limit.Outcome == takeoff.NeverFits {
		return nil, nil // no wind will do: there is no envelope
	}
	points, err := wind.Envelope(l.bounds(limit), credit(l.res.Policy), l.ownMPS, stepDeg)
	if err != nil {
		return nil, err
	}
	out := make([]*bowrollv1.EnvelopePoint, len(points))
	for i, p := range points {
		out[i] = &bowrollv1.EnvelopePoint{
			RelativeFromDeg: p.RelativeFromDeg, Open: p.Open,
			LeastMps: p.LeastMPS, GreatestMps: p.GreatestMPS,
			LeastBinds: p.LeastBinds, GreatestBinds: p.GreatestBinds,
		}
	}
	return out, nil
}
