package rpc

import (
	"context"
	"errors"
	"math"
	"slices"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
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
	return &Cycles{resolver: resolver{validator: validator, catalog: snapshot, sampler: newSampler(1)}, workers: max(1, workers)}
}

// defaultNodes is the node limit where the request gives none.
const defaultNodes = 2_000_000

// Plan answers the best plan of a cycle.
func (c *Cycles) Plan(ctx context.Context, req *bowrollv1.CyclesPlanRequest) (*bowrollv1.CyclePlan, error) {
	rc, found, err := c.resolver.resolveCycle(req.GetCycle())
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	fits, err := c.assessAll(ctx, rc)
	if err != nil {
		return nil, err
	}
	cp := rc.allocation(fits)
	nodes := defaultNodes
	if req.NodeLimit != nil {
		nodes = int(req.GetNodeLimit())
	}
	res, err := allocate.Solve(ctx, &cp.problem, allocate.Options{Nodes: nodes})
	if err != nil {
		var invalid *allocate.InvalidError
		if errors.As(err, &invalid) {
			return nil, status.Error(codes.InvalidArgument, invalid.Error())
		}
		return nil, err
	}
	if res.Choices == nil {
		return nil, status.FromContextError(ctx.Err()).Err()
	}
	p := &planner{cycles: c, rc: rc, cp: cp, res: res, req: req}
	out, err := p.answer(ctx)
	if err != nil {
		return nil, err
	}
	out.Provenance = provenance(c.resolver.catalog, rc.cycle, rc.deck, rc.site, settings(req))
	return out, nil
}

// settings is the request without its cycle, for the digest.
func settings(req *bowrollv1.CyclesPlanRequest) proto.Message {
	return &bowrollv1.CyclesPlanRequest{
		NodeLimit: req.NodeLimit, IncludeOptions: req.GetIncludeOptions(), IncludeLp: req.GetIncludeLp(),
	}
}

// assessAll computes every fit of every sortie. Fits that behave alike are
// computed once.
func (c *Cycles) assessAll(ctx context.Context, rc *resolvedCycle) ([][]*cycleFit, error) {
	type job struct {
		sortie *resolvedSortie
		fits   []*cycleFit
		bare   *takeoff.Runner
	}
	fits := make([][]*cycleFit, len(rc.sorties))
	var jobs []*job
	for i, s := range rc.sorties {
		bare, err := takeoff.NewRunner(s.base.Setting)
		if err != nil {
			return nil, refusal.Invalid(refusal.FromModel(cyclePrefix, err))
		}
		fits[i] = rc.fits(s)
		alike := map[string]*job{}
		for _, fit := range fits[i] {
			key := rc.likeness(fit)
			if alike[key] == nil {
				alike[key] = &job{sortie: s, bare: bare}
				jobs = append(jobs, alike[key])
			}
			alike[key].fits = append(alike[key].fits, fit)
		}
	}
	err := parallel(ctx, c.workers, len(jobs), func(i int) error {
		a, err := rc.assess(jobs[i].sortie, jobs[i].fits[0], jobs[i].bare)
		if err != nil {
			return refusal.Invalid(refusal.FromModel(cyclePrefix, err))
		}
		for _, fit := range jobs[i].fits {
			fit.a = a
		}
		return nil
	})
	return fits, err
}

// planner puts a solved cycle into the contract's messages.
type planner struct {
	cycles *Cycles
	rc     *resolvedCycle
	cp     *cycleProblem
	res    *allocate.Result
	req    *bowrollv1.CyclesPlanRequest
}

func (p *planner) answer(ctx context.Context) (*bowrollv1.CyclePlan, error) {
	rc, res := p.rc, p.res
	out := &bowrollv1.CyclePlan{
		Id:        rc.cycle.GetId(),
		Proof:     bowrollv1.Proof_PROOF_FEASIBLE,
		Optimal:   res.Status == allocate.Optimal,
		NodeCount: int32(min(res.Nodes, math.MaxInt32)),
		Objective: &bowrollv1.Objective{
			PriorityLaunched: int32(res.Objective.Priority),
			UnitsUsed:        int32(res.Objective.Units),
			ExpiryRank:       int32(res.Objective.ExpiryRank),
			MarginM:          float64(res.Objective.MarginMM) / 1000,
		},
		Ship:   rc.ship,
		Policy: rc.policy,
	}
	if out.Optimal {
		out.Proof = bowrollv1.Proof_PROOF_OPTIMAL
	}
	out.Bound = p.bound()
	out.Gap = out.Bound - float64(res.Objective.Priority)
	if len(rc.sorties) > 0 {
		out.Wind = rc.sorties[0].base.Wind
		out.Air = airAnswer(rc.sorties[0].base.Setting.Air)
	}
	launches := make([]*bowrollv1.PlannedLaunch, len(rc.sorties))
	held := make([]*bowrollv1.HeldSortie, len(rc.sorties))
	err := parallel(ctx, p.cycles.workers, len(rc.sorties), func(i int) error {
		var err error
		if choice := res.Choices[i].Fit; choice != allocate.Held {
			launches[i], err = p.launch(i, p.cp.fits[i][p.cp.usable[i][choice]])
		} else {
			held[i], err = p.held(i)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	out.Launches = slices.DeleteFunc(launches, func(l *bowrollv1.PlannedLaunch) bool { return l == nil })
	out.Held = slices.DeleteFunc(held, func(h *bowrollv1.HeldSortie) bool { return h == nil })
	out.Lots = p.lots()
	out.Cautions = p.cautions(out)
	return out, nil
}

// bound is the greatest priority that any plan can launch, as proven.
func (p *planner) bound() float64 {
	for _, l := range p.res.Levels {
		if l.Name == "priority" && l.Bounded && !l.Proven {
			return float64(l.Bound)
		}
	}
	if p.res.Status == allocate.Optimal || len(p.res.Levels) > 0 && p.res.Levels[0].Proven {
		return float64(p.res.Objective.Priority)
	}
	total := 0
	for _, s := range p.cp.problem.Sorties {
		total += s.Priority
	}
	return float64(total)
}

// launch answers one sortie that goes.
func (p *planner) launch(i int, fit *cycleFit) (*bowrollv1.PlannedLaunch, error) {
	s := p.rc.sorties[i]
	res := p.rc.withFit(s, fit)
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, refusal.Invalid(refusal.FromModel(cyclePrefix, err))
	}
	r := &run{res: res, runner: runner}
	a := *fit.a
	r.fire(&a)
	question := r.question(&a)
	question.Replanned = false
	out := &bowrollv1.PlannedLaunch{
		Sortie: s.sortie.GetId(), Order: int32(i + 1), Spot: s.sortie.GetSpot(), LaunchS: s.sortie.GetLaunchS(),
		Draws:            p.rc.draws(fit),
		LeastHeadwindMps: limitAnswer(runner.LeastHeadwind(&r.schedule, question)),
		Leg:              reliedOn(&a),
		Options:          p.options(i),
	}
	r.fire(&a)
	out.Takeoff = r.answer(&a, sections{bowrollv1.Section_SECTION_BEST_FIRING: true})
	return out, nil
}

// reliedOn is the leg of the failure with least to spare.
func reliedOn(a *takeoff.Assessment) *bowrollv1.Leg {
	if a.Legs == nil || a.Legs.Limiting < 0 {
		return nil
	}
	switch a.Legs.Legs[a.Legs.Limiting].ReliedOn {
	case takeoff.LegGo:
		return bowrollv1.Leg_LEG_GO.Enum()
	case takeoff.LegStop:
		return bowrollv1.Leg_LEG_STOP.Enum()
	}
	return nil
}

// held answers one sortie that does not go.
func (p *planner) held(i int) (*bowrollv1.HeldSortie, error) {
	s := p.rc.sorties[i]
	out := &bowrollv1.HeldSortie{
		Sortie: s.sortie.GetId(), Order: int32(i + 1), Spot: s.sortie.GetSpot(),
		Priority: s.sortie.GetPriority(), AvailableM: s.base.Available, Options: p.options(i),
	}
	if slices.ContainsFunc(p.cp.fits[i], func(f *cycleFit) bool { return f.usable() }) {
		out.Reason, out.Text, out.Releases = p.cp.holdReason(p.rc, p.res, i)
		return out, nil
	}
	out.Reason = bowrollv1.HoldReason_HOLD_REASON_NO_USABLE_FIT
	nearest := nearestFit(p.cp.fits[i])
	if nearest == nil {
		out.Text = "No unit count is permitted for which there are units."
		return out, nil
	}
	takeoffAnswer, err := p.release(s, nearest)
	if err != nil {
		return nil, err
	}
	out.Text = takeoffAnswer.GetLimiting()
	for _, f := range takeoffAnswer.GetFindings() {
		out.Releases = append(out.Releases, f.GetChanges()...)
	}
	return out, nil
}

// release computes what would clear the fit that is nearest to going.
func (p *planner) release(s *resolvedSortie, fit *cycleFit) (*bowrollv1.Takeoff, error) {
	res := p.rc.withFit(s, fit)
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, refusal.Invalid(refusal.FromModel(cyclePrefix, err))
	}
	r := &run{res: res, runner: runner}
	a := *fit.a
	r.fire(&a)
	return r.answer(&a, sections{bowrollv1.Section_SECTION_LIMITS: true}), nil
}

// nearestFit is the fit that is nearest to going: the one with the most margin.
func nearestFit(fits []*cycleFit) *cycleFit {
	var nearest *cycleFit
	for _, f := range fits {
		if nearest == nil || f.a.MarginM > nearest.a.MarginM {
			nearest = f
		}
	}
	return nearest
}

// fire builds the schedule of the firing that an assessment found.
func (r *run) fire(a *takeoff.Assessment) {
	r.schedule = booster.Schedule{}
	a.Firing.Schedule(&r.schedule, r.res.Setting.Units)
}

// options lists what a sortie could have had, where it is asked for.
func (p *planner) options(i int) []*bowrollv1.FitOption {
	if !p.req.GetIncludeOptions() {
		return nil
	}
	var list []*bowrollv1.FitOption
	for _, fit := range p.cp.fits[i] {
		list = append(list, &bowrollv1.FitOption{
			Draws: p.rc.draws(fit), UnitCount: int32(fit.count),
			Usable:       fit.usable() && p.rc.inStock(fit),
			Outcome:      outcome(fit.a.Verdict.Outcome()),
			RequiredRunM: finite(fit.a.RequiredM), MarginM: finite(fit.a.MarginM),
			Limiting: limiting(fit.a),
		})
	}
	return list
}

func (p *planner) lots() []*bowrollv1.LotUse {
	use := p.res.LotUse(&p.cp.problem)
	list := make([]*bowrollv1.LotUse, len(p.rc.lots))
	for i := range p.rc.lots {
		lot := &p.rc.lots[i]
		before := lot.lot.GetUsableCount()
		list[i] = &bowrollv1.LotUse{
			Lot: lot.lot.GetId(), BoosterType: lot.lot.GetType().GetName(),
			BeforeCount: before, UsedCount: int32(use[i]), AfterCount: before - int32(use[i]), Barred: lot.barred,
		}
	}
	return list
}

// cautions gathers those of the launches, each once, and those of the cycle.
func (p *planner) cautions(out *bowrollv1.CyclePlan) []*bowrollv1.Caution {
	var list []*bowrollv1.Caution
	counts := map[string]int{}
	for _, l := range out.Launches {
		for _, c := range l.GetTakeoff().GetCautions() {
			if counts[c.GetId()]++; counts[c.GetId()] == 1 {
				list = append(list, proto.CloneOf(c))
			}
		}
	}
	for _, c := range list {
		c.Text = cycleCaution(c, counts[c.GetId()], out.Launches)
	}
	if !out.Optimal {
		list = append(list, &bowrollv1.Caution{
			Id: "not-proven", Severity: bowrollv1.Severity_SEVERITY_CAUTION,
			Text: "The search ended at its limit: a better plan may exist; the bound says how much better.",
		})
	}
	slices.SortStableFunc(list, func(x, y *bowrollv1.Caution) int { return int(y.GetSeverity()) - int(x.GetSeverity()) })
	return list
}

// cycleCaution names the sorties that raise a caution.
func cycleCaution(c *bowrollv1.Caution, count int, launches []*bowrollv1.PlannedLaunch) string {
	names := ""
	for _, l := range launches {
		if slices.ContainsFunc(l.GetTakeoff().GetCautions(), func(o *bowrollv1.Caution) bool { return o.GetId() == c.GetId() }) {
			if names != "" {
				names += ", "
			}
			names += l.GetSortie()
		}
	}
	if count == 1 {
		return names + ": " + c.GetText()
	}
	return names + ": " + general[c.GetId()]
}

// general words cautions for several sorties at once, without the numbers of one.
var general = map[string]string{
	"failure-not-covered":     "a single failure has no way out that the policy accepts.",
	"no-climb-after-burn-out": "without booster thrust the aircraft does not climb.",
	"brakes-may-not-hold":     "the brakes do not hold the thrust before release: the aircraft creeps.",
	"burn-out-in-rotation":    "boosters end close to lift-off: expect the thrust to fall away during rotation.",
	"outside-stowage-limits":  "units outside their stowage limits.",
	"near-relief-pressure":    "chamber pressure near the relief pressure.",
	"failures-not-all-judged": "the booster type does not state all that is needed to judge every failure.",
	"no-brake-data":           "no braking friction is stated: no stop leg is relied on.",
	"tailwind":                "the run is planned on a tailwind.",
	"firing-is-a-cliff":       "the firing is the nominal best: commanded a little early the run is far longer.",
}
