package allocate

import (
	"errors"
	"fmt"
)

// Verify re-checks a result against the problem as stated, sharing no code with
// the solver: that the choices keep every constraint, that the objective is what
// they are worth, that status, values and bounds agree, and that the proof shows
// each bound and, where the result is called unique, the ties. It returns the first thing that
// does not hold.
func Verify(p *Problem, r *Result) error {
	if found := Validate(p); found != nil {
		return &InvalidError{found}
	}
	if r.Choices == nil {
		return verifyNoChoice(p, r)
	}
	if broken := Check(p, r.Choices); broken != nil {
		return fmt.Errorf("the choice breaks the problem: %s", broken[0])
	}
	if got := Value(p, r.Choices); got != r.Objective {
		return fmt.Errorf("the choice is worth %+v, %+v is claimed", got, r.Objective)
	}
	names := p.levelNames()
	if len(r.Levels) > len(names) || (r.Status == Optimal && len(r.Levels) < len(names)) {
		return fmt.Errorf("%d levels of %d", len(r.Levels), len(names))
	}
	v := newVerifier(p)
	if err := v.load(r); err != nil {
		return err
	}
	proofs := map[int]*LevelProof{}
	if r.Proof != nil {
		for k := range r.Proof.Levels {
			proofs[r.Proof.Levels[k].Level] = &r.Proof.Levels[k]
		}
	}
	for k := range r.Levels {
		l := &r.Levels[k]
		value, maximise := r.Objective.level(l.Name)
		switch {
		case l.Name != names[k] || l.Maximise != maximise || l.Value != value:
			return fmt.Errorf("level %d is %+v, the choice has %s %d", k+1, *l, names[k], value)
		case r.Status == Optimal && !l.Proven:
			return fmt.Errorf("level %s is not proven in an optimal result", l.Name)
		case l.Proven && (!l.Bounded || l.Bound != l.Value):
			return fmt.Errorf("level %s is called proven at %d with bound %d", l.Name, l.Value, l.Bound)
		case !l.Bounded:
			continue
		case l.Gap() < 0:
			return fmt.Errorf("level %s has value %d beyond its bound %d", l.Name, l.Value, l.Bound)
		case proofs[k] == nil || proofs[k].Limit != l.Bound:
			return fmt.Errorf("level %s has no proof of its bound %d", l.Name, l.Bound)
		}
		if err := v.level(r, k, proofs[k]); err != nil {
			return fmt.Errorf("proof of level %s: %w", l.Name, err)
		}
	}
	switch r.Status {
	case Feasible:
		if r.Unique {
			return errors.New("a result that is not proven is called unique")
		}
		return nil
	case Optimal:
		if !r.Unique {
			return nil
		}
		return v.ties(r)
	}
	return fmt.Errorf("status %v with a choice", r.Status)
}

func verifyNoChoice(p *Problem, r *Result) error {
	switch r.Status {
	case Unknown:
		return nil
	case Infeasible:
		if r.Proof == nil || len(r.Proof.Levels) != 1 || r.Proof.Levels[0].Level != 0 {
			return errors.New("infeasible without a proof")
		}
		// Shown is that every choice has less priority than any choice can have.
		v := newVerifier(p)
		least := int64(0)
		for _, set := range v.opts {
			low := int64(0)
			for o := range set {
				if o == 0 || set[o].level[0] < low {
					low = set[o].level[0]
				}
			}
			least += low
		}
		if limit := r.Proof.Levels[0].Limit; limit >= least {
			return fmt.Errorf("the proof of infeasibility allows priority %d", limit)
		}
		if err := v.load(r); err != nil {
			return err
		}
		return v.level(r, 0, &r.Proof.Levels[0])
	}
	return fmt.Errorf("status %v without a choice", r.Status)
}

// level checks that no choice is beyond the limit in level k while keeping the
// earlier levels at the result's values.
func (v *verifier) level(r *Result, k int, lp *LevelProof) error {
	_, maximise := (&Objective{}).level(v.names[k])
	limit := lp.Limit
	if !maximise {
		limit = -limit
	}
	t, err := v.tree(k, &lp.Tree, limit)
	if err != nil {
		return err
	}
	return t.check(0)
}

// ties checks that no choice of equal value is preferred to the answer: at each
// sortie, with those before it as answered, every option listed earlier is shown
// to fall short of the value, by TieCut or by a tree.
func (v *verifier) ties(r *Result) error {
	if r.Proof == nil {
		return errors.New("no proof")
	}
	last := len(v.names) - 1
	value, maximise := r.Objective.level(v.names[last])
	if !maximise {
		value = -value
	}
	trees := map[int]*Tree{}
	for k := range r.Proof.Ties {
		trees[r.Proof.Ties[k].Sortie] = &r.Proof.Ties[k].Tree
	}
	cut := &Tree{Shift: r.Proof.TieShift, Nodes: []TreeNode{{Multipliers: r.Proof.TieCut, Sortie: -1}}}
	t, err := v.tree(last, cut, value-1)
	if err != nil {
		return err
	}
	bound, err := t.bound(0)
	if err != nil {
		return err
	}
	t.exclude(bound)
	open := t.open
	for i := range v.opts {
		at, rival := -1, false
		for o := range v.opts[i] {
			name := v.opts[i][o].ProofOption
			if int(name.Fit) == r.Choices[i].Fit && v.spotID(i, name.Spot) == r.Choices[i].Spot {
				at = o
				break
			}
			rival = rival || open[v.first[i]+o]
		}
		if at < 0 {
			return fmt.Errorf("the choice of sortie %d is not among those that are needed", i)
		}
		if rival {
			if trees[i] == nil {
				return fmt.Errorf("no proof that nothing is preferred at sortie %d", i)
			}
			if t, err = v.tree(last, trees[i], value-1); err != nil {
				return err
			}
			copy(t.open, open)
			for o := at; o < len(v.opts[i]); o++ {
				t.open[v.first[i]+o] = false
			}
			if err := t.check(0); err != nil {
				return fmt.Errorf("tie at sortie %d: %w", i, err)
			}
		}
		for o := range v.opts[i] {
			open[v.first[i]+o] = o == at
		}
	}
	return nil
}

func (v *verifier) spotID(i int, spot int32) string {
	if spot < 0 {
		return ""
	}
	return v.p.group(v.p.Sorties[i].Group).Spots[spot].ID
}
