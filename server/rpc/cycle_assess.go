package rpc

import (
	"context"
	"sync"

	"bowroll/perf/takeoff"
	"bowroll/server/refusal"
)

// An assessor computes fits. Fits alike in every number are computed once,
// whichever sortie, variant or deck they are of.
type assessor struct {
	workers int
	known   map[string]*takeoff.Assessment
	// tell, if not nil, is called now and then, by one goroutine at a time.
	tell func(done, total int)
}

func newAssessor(workers int, tell func(done, total int)) *assessor {
	return &assessor{workers: workers, known: map[string]*takeoff.Assessment{}, tell: tell}
}

// fitJob is a fit to compute, the first of its kind.
type fitJob struct {
	rc     *resolvedCycle
	sortie *resolvedSortie
	fit    *cycleFit
	bare   *takeoff.Runner
	key    string
	a      *takeoff.Assessment
}

// all computes every fit of every sortie of a cycle.
func (s *assessor) all(ctx context.Context, rc *resolvedCycle) ([][]*cycleFit, error) {
	fits := make([][]*cycleFit, len(rc.sorties))
	var jobs []*fitJob
	asked := map[string]bool{}
	waiting := map[string][]*cycleFit{}
	bare := map[string]*takeoff.Runner{}
	for i, sortie := range rc.sorties {
		if bare[sortie.like] == nil {
			runner, err := takeoff.NewRunner(sortie.base.Setting)
			if err != nil {
				return nil, refusal.Invalid(refusal.FromModel(rc.prefix, err))
			}
			bare[sortie.like] = runner
		}
		fits[i] = rc.fits(sortie)
		for _, fit := range fits[i] {
			key := rc.likeness(sortie, fit)
			if fit.a = s.known[key]; fit.a != nil {
				continue
			}
			if !asked[key] {
				asked[key] = true
				jobs = append(jobs, &fitJob{rc: rc, sortie: sortie, fit: fit, bare: bare[sortie.like], key: key})
			}
			waiting[key] = append(waiting[key], fit)
		}
	}
	if err := s.compute(ctx, jobs); err != nil {
		return nil, err
	}
	for _, j := range jobs {
		s.known[j.key] = j.a
		for _, fit := range waiting[j.key] {
			fit.a = j.a
		}
	}
	return fits, nil
}

func (s *assessor) compute(ctx context.Context, jobs []*fitJob) error {
	var telling sync.Mutex
	done := 0
	return parallel(ctx, s.workers, len(jobs), func(i int) error {
		j := jobs[i]
		a, err := j.rc.assess(ctx, j.sortie, j.fit, j.bare)
		if err != nil {
			return refusal.Invalid(refusal.FromModel(j.rc.prefix, err))
		}
		j.a = a
		if s.tell == nil {
			return nil
		}
		telling.Lock()
		defer telling.Unlock()
		done++
		if step := max(1, len(jobs)/50); done%step == 0 || done == len(jobs) {
			s.tell(done, len(jobs))
		}
		return nil
	})
}
