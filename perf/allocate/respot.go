package allocate

import (
	"context"
	"slices"
)

// A Respotting compares the best use of the spots with the given one.
type Respotting struct {
	Given *Result // every sortie of a group on its own [Sortie.Spot]
	Best  *Result // spots traded
	// Saved is given less best: units, expiry rank; and best less given: priority,
	// margin. So positive figures speak for trading.
	Saved Objective
	// Moved are the sorties (indices) that stand elsewhere than given.
	Moved []int
}

// Respot solves the problem twice: with every sortie of a group where it stands,
// and with spots traded freely within groups. Sorties without a given spot may
// stand anywhere in both.
func Respot(ctx context.Context, p *Problem, o Options) (*Respotting, error) {
	if found := Validate(p); found != nil {
		return nil, &InvalidError{found}
	}
	given, err := Solve(ctx, Pinned(p), o)
	if err != nil {
		return nil, err
	}
	best, err := Solve(ctx, p, o)
	if err != nil {
		return nil, err
	}
	out := &Respotting{Given: given, Best: best}
	if given.Choices == nil || best.Choices == nil {
		return out, nil
	}
	out.Saved = Objective{
		Priority:   best.Objective.Priority - given.Objective.Priority,
		Units:      given.Objective.Units - best.Objective.Units,
		ExpiryRank: given.Objective.ExpiryRank - best.Objective.ExpiryRank,
		MarginMM:   best.Objective.MarginMM - given.Objective.MarginMM,
		Kept:       best.Objective.Kept - given.Objective.Kept,
	}
	for i, c := range best.Choices {
		if s := &p.Sorties[i]; s.Group != "" && s.Spot != "" && c.Spot != "" && c.Spot != s.Spot {
			out.Moved = append(out.Moved, i)
		}
	}
	return out, nil
}

// Pinned is a copy of the problem in which every sortie with a given spot stands
// there and nowhere else: each spot takes only those that are given it or have no
// spot of their own.
func Pinned(p *Problem) *Problem {
	q := *p
	q.Groups = slices.Clone(p.Groups)
	for g := range q.Groups {
		group := &q.Groups[g]
		group.Spots = slices.Clone(group.Spots)
		for s := range group.Spots {
			sp := &group.Spots[s]
			takes := []string{}
			for i := range p.Sorties {
				so := &p.Sorties[i]
				if so.Group == group.ID && (so.Spot == sp.ID || so.Spot == "") && sp.takes(so.ID) {
					takes = append(takes, so.ID)
				}
			}
			sp.Takes = takes
		}
	}
	return &q
}
