package rpc

import (
	"context"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// search is what the firing of a resolved case is planned for.
func (res *resolved) search() chance.Search {
	return chance.Search{
		AvailableM: res.Available,
		Policy:     modelPolicy(res.Policy),
		Percentile: res.Policy.GetPercentile(),
		Brakes:     true,
		ReactionS:  res.Firing.ReactionS,
	}
}

// planFiring plans the firing of a resolved case with units.
func (s *sampler) planFiring(ctx context.Context, res *resolved, runner *takeoff.Runner, search chance.Search, sample *chance.Sample) (*chance.Planned, error) {
	planner := s.planners.Get().(*chance.Planner)
	defer s.planners.Put(planner)
	plan, err := planner.Plan(ctx, res.chanceCase(runner), search, sample)
	if err != nil {
		return nil, status.FromContextError(err).Err()
	}
	return &plan, nil
}

// plannedAnswer puts a planned firing into the contract's message.
func (r *run) plannedAnswer(p *chance.Planned) *bowrollv1.PlannedFiring {
	best := p.Best.Nominal
	out := &bowrollv1.PlannedFiring{
		Percentile:  r.res.Policy.GetPercentile(),
		Planned:     r.sampled("planned", p.Option, best),
		NominalBest: r.sampled("nominal best", p.Best, best),
		PriceM:      finite(p.PriceM()),
		GainM:       finite(p.GainM()),
		SampleCount: int32(p.Draws),
		Dispersions: r.res.dispersions(),
	}
	nominal := takeoff.ByRun.Of(p.Nominal)
	if p.Early != nil {
		out.HalfSecondEarlyM = finite(takeoff.ByRun.Of(p.Early.Nominal) - nominal)
		out.HalfSecondEarlyPercentileM = finite(p.Early.PercentileM - p.PercentileM)
	}
	if p.Late != nil {
		out.HalfSecondLateM = finite(takeoff.ByRun.Of(p.Late.Nominal) - nominal)
		out.HalfSecondLatePercentileM = finite(p.Late.PercentileM - p.PercentileM)
	}
	if p.OnBrakes != nil {
		out.HouseRules = append(out.HouseRules, r.sampled("on the brakes", *p.OnBrakes, best))
	}
	for _, rule := range p.House {
		out.HouseRules = append(out.HouseRules, r.sampled(houseName(rule.Firing), rule, best))
	}
	return out
}

// sampled is a firing with its percentiles.
func (r *run) sampled(id string, o chance.Option, best takeoff.Roll) *bowrollv1.FiringOption {
	out := r.option(id, takeoff.Choice{Firing: o.Firing, Roll: o.Nominal, HoldMarginN: o.HoldMarginN}, best)
	out.RunP50M, out.RunPercentileM = finite(o.P50M), finite(o.PercentileM)
	out.Covered = proto.Bool(o.Covered)
	return out
}

// withTails adds to each firing the run at 0.99, as the curve has it. Plans of a
// cycle go without: those that are kept have to come out as they were.
func withTails(out *bowrollv1.PlannedFiring, p *chance.Planned) *bowrollv1.PlannedFiring {
	out.Planned.RunP99M, out.NominalBest.RunP99M = finite(p.P99M), finite(p.Best.P99M)
	rules := p.House
	if p.OnBrakes != nil {
		rules = append([]chance.Option{*p.OnBrakes}, rules...)
	}
	for i, rule := range rules {
		out.HouseRules[i].RunP99M = finite(rule.P99M)
	}
	return out
}

// What a curve has where the request does not say.
const (
	curvePoints  = 49
	curveSamples = 512
)

// FindFiring plans the firing of one take-off and returns the curve.
func (t *Takeoffs) FindFiring(ctx context.Context, req *bowrollv1.TakeoffsFindFiringRequest) (*bowrollv1.TakeoffsFindFiringResponse, error) {
	res, found, err := t.resolver.resolve("case", req.GetCase())
	if err != nil {
		return nil, err
	}
	if len(found) == 0 && len(res.Setting.Units) == 0 {
		found = []*bowrollv1.Violation{{
			Field: "case.boosters", Rule: "required", Allowed: "given", Hint: "without boosters there is nothing to fire",
		}}
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, refusal.Invalid(refusal.FromModel("case", err))
	}
	search := res.search()
	search.House = takeoff.HouseRules()
	search.CurveCovered = true
	search.Times, search.Look = curvePoints, curveSamples
	if req.PointCount != nil {
		search.Times = int(req.GetPointCount())
	}
	if req.SampleCount != nil {
		search.Look = int(req.GetSampleCount())
	}
	search.Refine, search.Report = search.Look, search.Look
	plan, err := t.resolver.sampler.planFiring(ctx, res, runner, search, t.resolver.sampler.find)
	if err != nil {
		return nil, err
	}
	return t.foundAnswer(res, &run{res: res, runner: runner}, plan, req, search.Look), nil
}

func (t *Takeoffs) foundAnswer(res *resolved, r *run, plan *chance.Planned, req *bowrollv1.TakeoffsFindFiringRequest, samples int) *bowrollv1.TakeoffsFindFiringResponse {
	out := &bowrollv1.TakeoffsFindFiringResponse{
		PlannedFiring:    withTails(r.plannedAnswer(plan), plan),
		CurveSampleCount: int32(samples),
		Covered:          plan.Covered,
		Policy:           res.Policy,
		Provenance:       provenance(t.resolver.catalog, res.Case, &bowrollv1.TakeoffsFindFiringRequest{PointCount: req.PointCount, SampleCount: req.SampleCount}),
	}
	for i := range plan.Curve {
		o := &plan.Curve[i]
		out.Curve = append(out.Curve, &bowrollv1.FiringPoint{
			DelayS: o.Firing.DelayS, RunM: finite(takeoff.ByRun.Of(o.Nominal)),
			RunP50M: finite(o.P50M), RunPercentileM: finite(o.PercentileM), RunP99M: finite(o.P99M), Covered: o.Covered,
		})
	}
	for i := range plan.Legs.Legs {
		out.Failures = append(out.Failures, r.failureAnswer(&plan.Legs.Legs[i]))
	}
	a := r.runner.Assess(&r.schedule, takeoff.Plan{Firing: plan.Firing, Failures: true}, demand(res))
	out.Cautions = r.cautions(&a)
	a.Firing.Schedule(&r.schedule, res.Setting.Units)
	out.Firing = new(slab).firingAnswer(r.runner, &r.schedule, a.Firing, true, res.Wind.GetHeadwindMps())
	return out
}
