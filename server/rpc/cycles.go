package rpc

import (
	"context"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
)

// Cycles answers bowroll.v1.Cycles. It keeps no state.
type Cycles struct {
	bowrollv1.UnimplementedCyclesServer
	resolver resolver
	workers  int
}

// NewCycles plans with the catalog given, on as many goroutines as workers says
// (at least one). How many there are changes no answer.
func NewCycles(validator protovalidate.Validator, snapshot *catalog.Snapshot, workers int) *Cycles {
	return &Cycles{resolver: newResolver(validator, snapshot, workers), workers: max(1, workers)}
}

// defaultNodes is the node limit where the request gives none.
const defaultNodes = 2_000_000

// nodes is the node limit of a request.
func nodes(limit *int32) int {
	if limit == nil {
		return defaultNodes
	}
	return int(*limit)
}

// Plan answers the best plan of a cycle.
func (c *Cycles) Plan(ctx context.Context, req *bowrollv1.CyclesPlanRequest) (*bowrollv1.CyclePlan, error) {
	return c.plan(ctx, req, func(*bowrollv1.PlanProgress) {})
}

// PlanStream answers it after telling how far it is.
func (c *Cycles) PlanStream(req *bowrollv1.CyclesPlanRequest, stream grpc.ServerStreamingServer[bowrollv1.CyclesPlanStreamResponse]) error {
	var lost error
	out, err := c.plan(stream.Context(), req, func(p *bowrollv1.PlanProgress) {
		// A caller that is gone ends the context, and that ends the plan.
		if lost == nil {
			lost = stream.Send(&bowrollv1.CyclesPlanStreamResponse{Event: &bowrollv1.CyclesPlanStreamResponse_Progress{Progress: p}})
		}
	})
	switch {
	case err != nil:
		return err
	case lost != nil:
		return lost
	}
	return stream.Send(&bowrollv1.CyclesPlanStreamResponse{Event: &bowrollv1.CyclesPlanStreamResponse_Item{Item: out}})
}

const cyclePrefix = "cycle"

// plan answers a plan. tell is called by one goroutine at a time.
func (c *Cycles) plan(ctx context.Context, req *bowrollv1.CyclesPlanRequest, tell func(*bowrollv1.PlanProgress)) (*bowrollv1.CyclePlan, error) {
	rc, found, err := c.resolver.resolveCycle(ctx, cyclePrefix, req.GetCycle())
	if err != nil {
		return nil, err
	}
	if rc != nil {
		found = append(checkKept(rc, req.GetKeep()), checkMisfires(rc, req.GetMisfires())...)
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	assessor := newAssessor(c.workers, func(done, total int) {
		tell(&bowrollv1.PlanProgress{Stage: bowrollv1.PlanStage_PLAN_STAGE_FITS, DoneCount: int32(done), TotalCount: int32(total)})
	})
	fits, err := assessor.all(ctx, rc, wantedBy(rc, req))
	if err != nil {
		return nil, err
	}
	q := alone(rc, fits)
	if len(req.GetKeep()) > 0 {
		q.keep(req.GetKeep(), req.KeepAfter)
	}
	options := allocate.Options{Nodes: nodes(req.NodeLimit), Progress: q.progress(tell)}
	tell(q.begun())
	res, err := q.solve(ctx, options)
	if err != nil {
		return nil, err
	}
	tell(&bowrollv1.PlanProgress{
		Stage: bowrollv1.PlanStage_PLAN_STAGE_ANSWER, TotalCount: int32(len(rc.sorties)), NodeCount: clamp(res.Nodes),
		BestPriority: proto.Int32(clamp(res.Objective.Priority)), Bound: proto.Float64(q.bound(res)),
	})
	p := &planner{workers: c.workers, q: q, part: q.parts[0], rc: rc, res: res, includeOptions: req.GetIncludeOptions()}
	out, err := p.answer(ctx)
	if err != nil {
		return nil, err
	}
	options.Progress = nil
	if err := c.extras(ctx, p, req, assessor, options, out); err != nil {
		return nil, err
	}
	out.Cautions = p.cautions(out)
	out.Provenance = provenance(c.resolver.catalog, rc.cycle, rc.deck, rc.site, settings(req))
	return out, nil
}

// wantedBy names the fits that a request asks about although no plan would choose
// them: all of them where options are listed, else those of an earlier plan.
func wantedBy(rc *resolvedCycle, req *bowrollv1.CyclesPlanRequest) func(*resolvedSortie, *cycleFit) bool {
	if req.GetIncludeOptions() {
		return func(*resolvedSortie, *cycleFit) bool { return true }
	}
	kept := map[string]*bowrollv1.KeptLaunch{}
	for _, k := range req.GetKeep() {
		kept[k.GetSortie()] = k
	}
	return func(s *resolvedSortie, fit *cycleFit) bool {
		k := kept[s.sortie.GetId()]
		return k != nil && rc.sameUnits(fit, k)
	}
}

// extras adds what goes beyond the launches: the comparison of spots, the
// timeline, what changes of an earlier plan, prices and LP texts.
func (c *Cycles) extras(ctx context.Context, p *planner, req *bowrollv1.CyclesPlanRequest, assessor *assessor, o allocate.Options, out *bowrollv1.CyclePlan) (err error) {
	if len(p.q.problem.Groups) > 0 {
		if out.Respotting, err = p.q.respotting(ctx, p.res, o); err != nil {
			return err
		}
	}
	if p.rc.cycle.GetDeckWork() != nil {
		if out.Timeline, err = p.timeline(req.GetMisfires()); err != nil {
			return err
		}
	}
	if len(req.GetKeep()) > 0 {
		out.Replan = p.replan(req.GetKeep(), out)
	}
	if req.GetIncludePrices() {
		if out.Prices, err = c.prices(ctx, p, assessor, o); err != nil {
			return err
		}
	}
	if req.GetIncludeLp() {
		out.LpStages, err = p.q.lpStages(p.res)
	}
	return err
}

// settings is the request without its cycle, for the digest.
func settings(req *bowrollv1.CyclesPlanRequest) proto.Message {
	return &bowrollv1.CyclesPlanRequest{
		NodeLimit: req.NodeLimit, IncludeOptions: req.GetIncludeOptions(), IncludeLp: req.GetIncludeLp(),
		IncludePrices: req.GetIncludePrices(), Misfires: req.GetMisfires(), Keep: req.GetKeep(), KeepAfter: req.KeepAfter,
	}
}
