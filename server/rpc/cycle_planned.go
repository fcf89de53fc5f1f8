package rpc

import (
	"context"

	"google.golang.org/grpc/status"

	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// How finely the firing of a fit is planned in a cycle, where there are many:
// enough for the command, not for a report of the tails.
const (
	cycleTimes  = 16
	cycleLook   = 32
	cycleRefine = 64
)

// cycleSearch is the search for the planned firing of a fit whose nominal best is
// known, and for what it is reported with.
func (res *resolved) cycleSearch(found *takeoff.BestFiring) chance.Search {
	search := res.search()
	search.Found = found
	search.Times, search.Look, search.Refine = cycleTimes, cycleLook, cycleRefine
	return search
}

// assess computes a fit on its planned firing, failures included. Where not even
// the nominal best firing fits, nothing is sampled.
func (rc *resolvedCycle) assess(ctx context.Context, s *resolvedSortie, fit *cycleFit, bare *takeoff.Runner) (*takeoff.Assessment, error) {
	res := rc.withFit(s, fit)
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, err
	}
	var schedule booster.Schedule
	d := demand(res)
	plan := takeoff.Plan{Firing: res.Firing, Search: res.Planned, Failures: !res.Planned, Bare: bare}
	a := runner.Assess(&schedule, plan, d)
	if !res.Planned {
		return rc.likely(ctx, res, runner, &a)
	}
	best := a.Best
	plan.Search, plan.Failures, plan.Firing = false, true, a.Firing
	if !barsAnyFiring(a.Verdict.Outcome()) {
		search := res.cycleSearch(best)
		search.Brief = true
		planned, err := rc.sampler.planFiring(ctx, res, runner, search, rc.sampler.plan)
		if err != nil {
			return nil, err
		}
		plan.Firing = planned.Firing
	}
	a = runner.Assess(&schedule, plan, d)
	a.Best = best
	return rc.likely(ctx, res, runner, &a)
}

// likely holds a fit that would go to the least probability that the policy asks.
func (rc *resolvedCycle) likely(ctx context.Context, res *resolved, runner *takeoff.Runner, a *takeoff.Assessment) (*takeoff.Assessment, error) {
	if a.Verdict.Outcome().Holds() {
		return a, nil
	}
	_, err := (&run{res: res, runner: runner}).judgeChance(ctx, rc.sampler, a, false)
	return a, err
}

// chancesOf samples every fit of a part, alike ones once: the probability of
// lift-off inside the run available at the firing of the fit.
func (p *planner) chancesOf(ctx context.Context) (map[*takeoff.Assessment]float64, error) {
	type job struct {
		sortie *resolvedSortie
		fit    *cycleFit
	}
	var jobs []job
	seen := map[*takeoff.Assessment]bool{}
	for i, fits := range p.part.fits {
		for _, fit := range fits {
			if !seen[fit.a] {
				seen[fit.a] = true
				jobs = append(jobs, job{p.rc.sorties[i], fit})
			}
		}
	}
	found := make([]float64, len(jobs))
	err := parallel(ctx, p.workers, len(jobs), func(i int) error {
		res := p.rc.withFit(jobs[i].sortie, jobs[i].fit)
		runner, err := takeoff.NewRunner(res.Setting)
		if err != nil {
			return refusal.Invalid(refusal.FromModel(p.rc.prefix, err))
		}
		result, err := chance.Evaluate(ctx, res.chanceCase(runner), chance.Question{
			Firing: jobs[i].fit.a.Firing, AvailableM: res.Available, Percentile: res.Policy.GetPercentile(),
		}, p.rc.sampler.plan, 1)
		if err != nil {
			return status.FromContextError(err).Err()
		}
		found[i] = result.Probability
		return nil
	})
	chances := make(map[*takeoff.Assessment]float64, len(jobs))
	for i, j := range jobs {
		chances[j.fit.a] = found[i]
	}
	return chances, err
}

// barsAnyFiring tells whether what was found at the nominal best firing holds at
// any other.
func barsAnyFiring(o takeoff.Outcome) bool {
	switch o {
	case takeoff.NeverGetsOff, takeoff.CannotClimb, takeoff.RunTooLong,
		takeoff.CrosswindExceeded, takeoff.TailwindExceeded, takeoff.DeckCeilingExceeded:
		return true
	}
	return false
}

// plannedFor is the planned firing of a fit that an assessment was computed with,
// with what it was compared with.
func (r *run) plannedFor(ctx context.Context, s *sampler, a *takeoff.Assessment) (*bowrollv1.PlannedFiring, error) {
	if !r.res.Planned || a.Best == nil || barsAnyFiring(a.Verdict.Outcome()) {
		return nil, nil
	}
	search := r.res.cycleSearch(a.Best)
	search.Given, search.House = &a.Firing, takeoff.HouseRules()
	planned, err := s.planFiring(ctx, r.res, r.runner, search, s.plan)
	if err != nil {
		return nil, err
	}
	return r.plannedAnswer(planned), nil
}

// lotNumbers numbers the lots of a fit's units from 0, in the order they appear.
func lotNumbers(fit *cycleFit) []int {
	number := map[int]int{}
	lots := make([]int, len(fit.lots))
	for i, lot := range fit.lots {
		at, known := number[lot]
		if !known {
			at = len(number)
			number[lot] = at
		}
		lots[i] = at
	}
	return lots
}
