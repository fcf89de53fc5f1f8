package rpc

import (
	"context"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// planner puts the answer for one cycle of a queue into the contract's messages.
type planner struct {
	workers        int
	q              *queue
	part           *part
	rc             *resolvedCycle
	res            *allocate.Result
	why            *allocate.Why
	includeOptions bool
	chances        map[*takeoff.Assessment]float64 // of every fit, where options are listed
}

// answer is the plan without what is only there on request.
func (p *planner) answer(ctx context.Context) (*bowrollv1.CyclePlan, error) {
	ctx, span := stage(ctx, "answer")
	defer span.End()
	rc, res := p.rc, p.res
	if p.includeOptions {
		chances, err := p.chancesOf(ctx)
		if err != nil {
			return nil, err
		}
		p.chances = chances
	}
	if p.why == nil {
		why, err := p.q.explain(p.res)
		if err != nil {
			return nil, err
		}
		p.why = why
	}
	out := &bowrollv1.CyclePlan{
		Id:           rc.cycle.GetId(),
		Proof:        proofOf(res),
		Optimal:      res.Status == allocate.Optimal,
		NodeCount:    clamp(res.Nodes),
		Objective:    p.q.objective(res.Objective),
		Bound:        p.q.bound(res),
		Ship:         rc.ship,
		Policy:       rc.policy,
		Levels:       levels(res),
		ProofChecked: true, // allocate.Solve gives nothing out that Verify refuses
		Lots:         p.lots(),
		Bindings:     p.q.bindings(p.why.Binding),
		Reserves:     p.reserves(),
	}
	out.Gap = out.Bound - float64(res.Objective.Priority)
	if len(rc.sorties) > 0 {
		out.Wind = rc.sorties[0].base.Wind
		out.Air = new(slab).airAnswer(rc.sorties[0].base.Setting.Air)
	}
	if err := p.sorties(ctx, out); err != nil {
		return nil, err
	}
	return out, nil
}

func proofOf(res *allocate.Result) bowrollv1.Proof {
	if res.Status == allocate.Optimal {
		return bowrollv1.Proof_PROOF_OPTIMAL
	}
	return bowrollv1.Proof_PROOF_FEASIBLE
}

// sorties answers each sortie. Take-offs alike in every number are worked out once.
func (p *planner) sorties(ctx context.Context, out *bowrollv1.CyclePlan) error {
	rc := p.rc
	keys := make([]string, len(rc.sorties))
	first := map[string]int{}
	var jobs []int
	for i, s := range rc.sorties {
		fit := p.part.chosen(p.res, i)
		key := ""
		if fit != nil {
			key = "goes " + rc.likeness(s, fit)
		} else if near := p.clears(i); near != nil {
			key = "held " + rc.likeness(s, near)
		} else {
			continue
		}
		keys[i] = key
		if _, known := first[key]; !known {
			first[key] = len(jobs)
			jobs = append(jobs, i)
		}
	}
	answers := make([]takeoffAnswer, len(jobs))
	err := parallel(ctx, p.workers, len(jobs), func(k int) error {
		i := jobs[k]
		var err error
		if fit := p.part.chosen(p.res, i); fit != nil {
			answers[k], err = p.goes(ctx, rc.sorties[i], fit)
		} else {
			answers[k], err = p.release(rc.sorties[i], p.clears(i))
		}
		return err
	})
	if err != nil {
		return err
	}
	launches := make([]*bowrollv1.PlannedLaunch, len(rc.sorties))
	for i := range rc.sorties {
		var a takeoffAnswer
		if keys[i] != "" {
			a = answers[first[keys[i]]]
		}
		if fit := p.part.chosen(p.res, i); fit != nil {
			launches[i] = p.launch(i, fit, a)
		} else {
			out.Held = append(out.Held, p.held(i, a))
		}
	}
	for _, l := range allocate.Launches(&p.q.problem, p.res.Choices) {
		if at := l.Sortie - p.part.first; at >= 0 && at < len(launches) {
			out.Launches = append(out.Launches, launches[at])
		}
	}
	p.cheaper(ctx, out)
	return ctx.Err()
}

// takeoffAnswer is what is said of the take-off of a launch.
type takeoffAnswer struct {
	takeoff *bowrollv1.Takeoff
	least   *bowrollv1.Limit
	leg     *bowrollv1.Leg
	// releases are what would clear a take-off that is held.
	releases []*bowrollv1.Change
}

// goes answers the take-off of a sortie that launches.
func (p *planner) goes(ctx context.Context, s *resolvedSortie, fit *cycleFit) (takeoffAnswer, error) {
	res := p.rc.withFit(s, fit)
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return takeoffAnswer{}, refusal.Invalid(refusal.FromModel(p.rc.prefix, err))
	}
	r := &run{res: res, runner: runner}
	a := *fit.a
	r.fire(&a)
	question := r.question(&a)
	question.Replanned = false
	out := takeoffAnswer{least: limitAnswer(runner.LeastHeadwind(&r.schedule, question)), leg: reliedOn(&a)}
	r.fire(&a)
	out.takeoff = r.answer(new(slab), &a, sections{bowrollv1.Section_SECTION_BEST_FIRING: true})
	out.takeoff.Box = r.box(&a)
	if out.takeoff.PlannedFiring, err = r.plannedFor(ctx, p.rc.sampler, &a); err != nil {
		return takeoffAnswer{}, err
	}
	return out, nil
}

// launch answers one sortie that goes.
func (p *planner) launch(i int, fit *cycleFit, a takeoffAnswer) *bowrollv1.PlannedLaunch {
	s := p.rc.sorties[i]
	out := &bowrollv1.PlannedLaunch{
		Sortie: s.sortie.GetId(), Order: int32(i + 1), Spot: fit.place.spot, LaunchS: fit.place.launchS,
		Draws: p.rc.draws(fit), Takeoff: proto.CloneOf(a.takeoff), LeastHeadwindMps: proto.CloneOf(a.least), Leg: a.leg,
		Options: p.options(i),
	}
	out.Takeoff.Id = s.sortie.GetId()
	if s.sortie.GetGroup() != "" {
		out.GivenSpot = s.sortie.GetSpot()
	}
	return out
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

// release computes what would clear the fit that is nearest to going.
func (p *planner) release(s *resolvedSortie, fit *cycleFit) (takeoffAnswer, error) {
	res := p.rc.withFit(s, fit)
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return takeoffAnswer{}, refusal.Invalid(refusal.FromModel(p.rc.prefix, err))
	}
	// What would release it is asked with the firing best for each value tried.
	res.Best, res.Planned = res.Planned, false
	r := &run{res: res, runner: runner}
	a := *fit.a
	r.fire(&a)
	out := takeoffAnswer{takeoff: r.answer(new(slab), &a, sections{bowrollv1.Section_SECTION_LIMITS: true})}
	out.releases = clearing(&a, out.takeoff.GetFindings())
	return out, nil
}

// clearing lists the single changes that clear everything that holds a take-off:
// of each quantity that every such finding names, the greatest change. How many
// units there are is no change here: other counts are fits of their own.
func clearing(a *takeoff.Assessment, findings []*bowrollv1.Finding) []*bowrollv1.Change {
	var list []*bowrollv1.Change
	first := true
	for i, f := range a.Verdict {
		if !f.Outcome.Holds() {
			continue
		}
		changes := findings[i].GetChanges()
		if first {
			first = false
			for _, c := range changes {
				if c.GetQuantity() != "unit_count" {
					list = append(list, c)
				}
			}
			continue
		}
		var both []*bowrollv1.Change
		for _, c := range list {
			at := slices.IndexFunc(changes, func(o *bowrollv1.Change) bool { return o.GetQuantity() == c.GetQuantity() })
			switch {
			case at < 0:
			case math.Abs(changes[at].GetChange()) > math.Abs(c.GetChange()):
				both = append(both, changes[at])
			default:
				both = append(both, c)
			}
		}
		list = both
	}
	return list
}

// clears is the fit of a held sortie that a change of the take-off alone could make
// usable, the nearest: any where none is usable, else one without units, since
// those with units lack them.
func (p *planner) clears(i int) *cycleFit {
	fits := p.part.fits[i]
	if nearestFit(fits, (*cycleFit).usable) == nil {
		return nearestFit(fits, func(*cycleFit) bool { return true })
	}
	return nearestFit(fits, func(f *cycleFit) bool { return f.count == 0 && !f.usable() })
}

// nearestFit is the fit that is nearest to going of those that count: the one with
// the most margin.
func nearestFit(fits []*cycleFit, counts func(*cycleFit) bool) *cycleFit {
	var nearest *cycleFit
	for _, f := range fits {
		if counts(f) && (nearest == nil || f.a.MarginM > nearest.a.MarginM) {
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

// lots says what the cycle takes of each lot and what is left by all.
func (p *planner) lots() []*bowrollv1.LotUse {
	all := p.res.LotUse(&p.q.problem)
	own := make([]int, len(all))
	for i := range p.rc.sorties {
		if fit := p.part.chosen(p.res, i); fit != nil {
			for _, d := range p.part.draws(fit) {
				own[d.Lot] += d.Units
			}
		}
	}
	list := make([]*bowrollv1.LotUse, len(p.rc.lots))
	for i := range p.rc.lots {
		at := p.part.lots[i]
		list[i] = lotUse(&p.rc.lots[i], own[at], all[at])
	}
	return list
}

func lotUse(lot *resolvedLot, used, byAll int) *bowrollv1.LotUse {
	before := lot.lot.GetUsableCount()
	return &bowrollv1.LotUse{
		Lot: lot.lot.GetId(), BoosterType: lot.lot.GetType().GetName(),
		BeforeCount: before, UsedCount: int32(used), AfterCount: before - int32(byAll), Barred: lot.barred,
	}
}

// reserves says what is kept back where it was sized.
func (p *planner) reserves() []*bowrollv1.SizedReserve {
	var list []*bowrollv1.SizedReserve
	use := p.res.LotUse(&p.q.problem)
	for _, r := range p.q.reserves {
		used := 0
		for _, l := range r.lots {
			used += use[l]
		}
		list = append(list, &bowrollv1.SizedReserve{
			BoosterType: r.kind.GetName(), UnitCount: int32(p.q.problem.Sites[r.site].Reserve),
			ForCount: int32(used), DudProbability: r.kind.GetDudProbability(),
		})
	}
	return list
}
