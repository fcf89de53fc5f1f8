package rpc

import (
	"context"
	"slices"
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
	tell        func(done, total int)
	done, total int // of all computed so far
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

// all computes the fits of every sortie of a cycle, the fewest units first. A fit
// is left out where another at the same place draws fewer units, all of them among
// those it draws, and is usable: any plan with it is worse than the one with the
// other. wanted, if not nil, names fits that are computed all the same.
func (s *assessor) all(ctx context.Context, rc *resolvedCycle, wanted func(*resolvedSortie, *cycleFit) bool) ([][]*cycleFit, error) {
	ctx, span := stage(ctx, "fits")
	defer span.End()
	fits := make([][]*cycleFit, len(rc.sorties))
	bare := map[string]*takeoff.Runner{}
	var waves []int
	for i, sortie := range rc.sorties {
		if bare[sortie.like] == nil {
			runner, err := takeoff.NewRunner(sortie.base.Setting)
			if err != nil {
				return nil, refusal.Invalid(refusal.FromModel(rc.prefix, err))
			}
			bare[sortie.like] = runner
		}
		fits[i] = rc.fits(sortie)
		waves = append(waves, sortie.counts...)
	}
	slices.Sort(waves)
	better := make([][]*cycleFit, len(rc.sorties)) // usable fits that no other of fewer units makes needless
	for _, count := range slices.Compact(waves) {
		if err := s.wave(ctx, rc, count, fits, better, bare, wanted); err != nil {
			return nil, err
		}
	}
	for i := range fits {
		fits[i] = slices.DeleteFunc(fits[i], func(f *cycleFit) bool { return f.a == nil })
	}
	return fits, nil
}

// wave computes the fits of so many units.
func (s *assessor) wave(ctx context.Context, rc *resolvedCycle, count int, fits, better [][]*cycleFit, bare map[string]*takeoff.Runner, wanted func(*resolvedSortie, *cycleFit) bool) error {
	var jobs []*fitJob
	waiting := map[string][]*cycleFit{}
	for i, sortie := range rc.sorties {
		for _, fit := range fits[i] {
			if fit.count != count || needless(fit, better[i]) && (wanted == nil || !wanted(sortie, fit)) {
				continue
			}
			key := rc.likeness(sortie, fit)
			if fit.a = s.known[key]; fit.a != nil {
				continue
			}
			if waiting[key] == nil {
				jobs = append(jobs, &fitJob{rc: rc, sortie: sortie, fit: fit, bare: bare[sortie.like], key: key})
			}
			waiting[key] = append(waiting[key], fit)
		}
	}
	if err := s.compute(ctx, jobs); err != nil {
		return err
	}
	for _, j := range jobs {
		s.known[j.key] = j.a
		for _, fit := range waiting[j.key] {
			fit.a = j.a
		}
	}
	for i := range fits {
		for _, fit := range fits[i] {
			if fit.count == count && fit.a != nil && fit.usable() && rc.opens(fit.place) && !needless(fit, better[i]) {
				better[i] = append(better[i], fit)
			}
		}
	}
	return nil
}

// needless tells whether a usable fit of fewer units makes this one needless.
func needless(fit *cycleFit, better []*cycleFit) bool {
	for _, b := range better {
		if b.place == fit.place && b.count < fit.count && within(b.lots, fit.lots) {
			return true
		}
	}
	return false
}

// within tells whether every unit of one fit has one of the same lot in the other.
func within(units, of []int) bool {
	for i, lot := range units {
		if slices.Contains(units[:i], lot) {
			continue
		}
		have, want := 0, 0
		for _, l := range units {
			if l == lot {
				want++
			}
		}
		for _, l := range of {
			if l == lot {
				have++
			}
		}
		if want > have {
			return false
		}
	}
	return true
}

func (s *assessor) compute(ctx context.Context, jobs []*fitJob) error {
	var telling sync.Mutex
	s.total += len(jobs)
	step := max(1, len(jobs)/25)
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
		s.done++
		if s.done%step == 0 || s.done == s.total {
			s.tell(s.done, s.total)
		}
		return nil
	})
}
