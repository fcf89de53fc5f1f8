package rpc

import (
	"context"

	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
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
		return &a, nil
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
	return &a, nil
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
