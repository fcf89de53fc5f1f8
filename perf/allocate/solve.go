package allocate

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// DefaultNodes is the node limit where none is given.
const DefaultNodes = 200_000

// Options of [Solve]. The zero value is good.
type Options struct {
	// Nodes is the greatest number of search nodes; 0 means [DefaultNodes]. It
	// stops the search at the same place on every machine.
	Nodes int
	// Progress, if not nil, is called now and then from the solving goroutine.
	Progress func(Progress)
}

// Progress is where a search stands.
type Progress struct {
	Level string // being worked on, or "ties"
	Nodes int
	// Value of the best choice so far in that level; Found says if there is one.
	Value int64
	Found bool
	// Bound is what no choice betters in that level, as proven so far; it means
	// nothing unless Bounded.
	Bound   int64
	Bounded bool
}

// Solve answers a problem. It returns an *InvalidError listing every violation of
// a problem that is not valid, and no other error but for a fault of its own (an
// answer that [Verify] refuses is not given out).
//
// When the context ends, or the node limit is reached, the best choice found so
// far is returned as Feasible; use the node limit where the answer has to be the
// same everywhere. Solve runs in the calling goroutine and keeps nothing.
func Solve(ctx context.Context, p *Problem, o Options) (*Result, error) {
	if found := Validate(p); found != nil {
		return nil, &InvalidError{found}
	}
	most := o.Nodes
	if most <= 0 {
		most = DefaultNodes
	}
	s := &solver{p: p, m: newModel(p, true), limits: &limits{ctx: ctx, most: most, progress: o.Progress}}
	r := s.solve()
	if err := Verify(p, r); err != nil {
		return nil, fmt.Errorf("allocate: fault in the solver, its answer is withheld: %w", err)
	}
	return r, nil
}

type solver struct {
	p      *Problem
	m      *model
	limits *limits
	choice []int32 // best so far
	values []int64 // of the levels done, greater is better
	pool   []*row  // all rows so far
	active []*row  // those that the next level starts with
	result Result
	proof  Proof
	proven bool
	at     Progress // last reported
}

func (s *solver) solve() *Result {
	s.proven = true
	for i := range s.p.Sorties {
		if s.m.first[i] == s.m.first[i+1] {
			return s.nothingFor()
		}
	}
	for r := range s.m.rows {
		s.m.rows[r].id = r
		s.pool = append(s.pool, &s.m.rows[r])
	}
	s.active = s.pool[:len(s.pool):len(s.pool)]
	s.choice = s.start()
	for k := range s.m.levels {
		if !s.level(k) {
			break
		}
	}
	if s.choice != nil && s.proven {
		s.result.Unique = s.ties()
	}
	r := &s.result
	r.Nodes = s.limits.nodes
	r.Proof = &s.proof
	r.Proof.Rows = s.m.proofRows(s.pool)
	switch {
	case s.choice == nil && s.proven:
		r.Status, r.Levels = Infeasible, nil
		return r
	case s.choice == nil:
		r.Status, r.Levels = Unknown, nil
		return r
	case s.proven:
		r.Status = Optimal
	default:
		r.Status = Feasible
	}
	r.Choices = s.choices()
	r.Objective = Value(s.p, r.Choices)
	for k := range r.Levels {
		l := &r.Levels[k]
		l.Value, _ = r.Objective.level(l.Name)
	}
	return r
}

// nothingFor answers a problem in which some sortie must launch and has no fit,
// or must stay and has no spot.
func (s *solver) nothingFor() *Result {
	return &Result{Status: Infeasible, Proof: &Proof{Levels: []LevelProof{{
		Limit: -1,
		Tree:  Tree{Nodes: []TreeNode{{Sortie: -1}}},
	}}}}
}

// start is a choice to begin with, where there is one at hand: every sortie with
// what takes nothing from the others, held or launched without units.
func (s *solver) start() []int32 {
	choice := make([]int32, len(s.p.Sorties))
	for i := range choice {
		j := s.m.first[i+1] - 1
		if o := s.m.opts[j]; o.units > 0 || o.spot >= 0 {
			return nil
		}
		choice[i] = j
	}
	return choice
}

// level solves one level with the earlier ones held at their values. It returns
// false when there is nothing to go on with.
//
// How long a depth-first search takes hangs on its first steps, and now and then it
// is very long. So a search that has not ended after some nodes is dropped and
// begun again, with twice as many, from the cutting planes and the incumbent that it
// leaves and by another way.
func (s *solver) level(k int) bool {
	_, maximise := (&Objective{}).level(s.m.names[k])
	until := s.limits.most
	if k < len(s.m.levels)-1 {
		// Leave something for the levels after this one.
		until = s.limits.nodes + (s.limits.most-s.limits.nodes+1)/2
	}
	var w *search
	var tree Tree
	proven, bound := false, int64(math.MaxInt64)
	for attempt := 0; !proven; attempt++ {
		w = newSearch(s.m, k, attempt, &s.pool, s.active, s.limits)
		w.quota = min(firstQuota<<min(attempt, 20), until-s.limits.nodes)
		s.report(k, w)
		if s.choice != nil {
			w.offer(s.choice)
			if k == 0 && attempt == 0 {
				w.offer(w.greedy(s.choice))
			}
		}
		proven = w.run()
		if b := w.bound(); b < bound || proven {
			bound, tree = b, w.tree
		}
		s.choice = w.best // nil if even what it began with breaks a constraint
		if s.limits.stopped || s.limits.nodes >= until {
			break
		}
		w.purge()
		s.active = w.lp.rows
	}
	s.proven = s.proven && proven
	w.purge()
	s.active = w.lp.rows
	if w.best == nil {
		if proven {
			s.proof.Levels = append(s.proof.Levels, LevelProof{Level: k, Limit: sense(w.bestVal*w.unit, maximise), Tree: tree})
		}
		return false
	}
	bound = max(bound, w.bestVal)
	l := Level{Name: s.m.names[k], Maximise: maximise, Proven: s.proven}
	if bound < math.MaxInt64/w.unit {
		l.Bounded, l.Bound = true, sense(bound*w.unit, maximise)
		if w.onBound != nil {
			w.onBound(bound * w.unit)
		}
		s.proof.Levels = append(s.proof.Levels, LevelProof{Level: k, Limit: l.Bound, Tree: tree})
	}
	s.result.Levels = append(s.result.Levels, l)
	s.values = append(s.values, w.bestVal*w.unit)
	held := s.m.levelRow(k, w.bestVal*w.unit)
	held.id = len(s.pool)
	s.pool = append(s.pool, &held)
	s.active = append(slices.Clone(s.active), &held)
	return true
}

// firstQuota is how many nodes the first search of a level may take.
const firstQuota = 100

// report has the search tell the caller about new incumbents and bounds, and about
// the nodes in between.
func (s *solver) report(k int, w *search) {
	if s.limits.progress == nil {
		return
	}
	_, maximise := (&Objective{}).level(s.m.names[k])
	at := &s.at
	if at.Level != s.m.names[k] {
		*at = Progress{Level: s.m.names[k]}
	}
	s.limits.tick = func() {
		at.Nodes = s.limits.nodes
		s.limits.progress(*at)
	}
	w.onNew = func(value int64) {
		at.Value, at.Found = sense(value, maximise), true
		s.limits.tick()
	}
	w.onBound = func(bound int64) {
		if b := sense(bound, maximise); !at.Bounded || (maximise && b < at.Bound) || (!maximise && b > at.Bound) {
			at.Bound, at.Bounded = b, true
			s.limits.tick()
		}
	}
}

func sense(v int64, maximise bool) int64 {
	if maximise {
		return v
	}
	return -v
}

// choices are the options of the answer as the caller knows them.
func (s *solver) choices() []Choice {
	out := make([]Choice, len(s.choice))
	for i, j := range s.choice {
		o := s.m.opts[j]
		out[i].Fit = o.fit
		if o.spot >= 0 {
			out[i].Spot = s.p.group(s.p.Sorties[i].Group).Spots[o.spot].ID
		}
	}
	return out
}
