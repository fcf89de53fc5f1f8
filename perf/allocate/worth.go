package allocate

import (
	"context"
	"slices"
)

// A Change is a what-if, applied to a copy of a problem.
type Change struct {
	Name  string
	Apply func(*Problem)
}

// MoreUnits gives a lot more units.
func MoreUnits(p *Problem, lot, units int) Change {
	name := "+1 unit"
	if units == 2 {
		name = "+1 pair"
	}
	return Change{name + " of " + p.Lots[lot].ID, func(p *Problem) { p.Lots[lot].Available += units }}
}

// MoreTeams gives a site more fitting teams; it changes nothing where crews are no
// limit.
func MoreTeams(p *Problem, site, teams int) Change {
	return Change{"+1 team at " + p.sites()[site].ID, func(p *Problem) {
		if site >= len(p.Sites) || p.Sites[site].Crews == nil {
			return
		}
		c := *p.Sites[site].Crews
		c.Teams += teams
		p.Sites[site].Crews = &c
	}}
}

// Usual are the changes that an operations cell asks about: one more unit and one
// more pair of each lot, one more team at each site.
func Usual(p *Problem) []Change {
	var out []Change
	for l := range p.Lots {
		out = append(out, MoreUnits(p, l, 1), MoreUnits(p, l, 2))
	}
	for s := range p.Sites {
		if p.Sites[s].Crews != nil {
			out = append(out, MoreTeams(p, s, 1))
		}
	}
	return out
}

// A Price is what a change does to the plan.
type Price struct {
	Name   string
	Result *Result
	// Gain is the new objective less the old one, level by level: more priority
	// and margin, fewer units and rank are better.
	Gain Objective
	// Launched and Dropped are the sorties (indices) that the change adds to and
	// takes off those launched.
	Launched, Dropped []int
}

// Worth solves the problem again after each change, and compares. The changes are
// tried one at a time; prices are exact when both results are optimal.
func Worth(ctx context.Context, p *Problem, base *Result, changes []Change, o Options) ([]Price, error) {
	var out []Price
	for _, c := range changes {
		q := *p
		q.Lots = slices.Clone(p.Lots)
		q.Sites = slices.Clone(p.Sites)
		q.Sorties = slices.Clone(p.Sorties)
		c.Apply(&q)
		r, err := Solve(ctx, &q, o)
		if err != nil {
			return nil, err
		}
		pr := Price{Name: c.Name, Result: r}
		if r.Choices != nil && base.Choices != nil {
			pr.Gain = Objective{
				Priority:   r.Objective.Priority - base.Objective.Priority,
				Units:      r.Objective.Units - base.Objective.Units,
				ExpiryRank: r.Objective.ExpiryRank - base.Objective.ExpiryRank,
				MarginMM:   r.Objective.MarginMM - base.Objective.MarginMM,
				Kept:       r.Objective.Kept - base.Objective.Kept,
			}
			for i := range min(len(r.Choices), len(base.Choices)) {
				was, is := base.Choices[i].Fit != Held, r.Choices[i].Fit != Held
				switch {
				case is && !was:
					pr.Launched = append(pr.Launched, i)
				case was && !is:
					pr.Dropped = append(pr.Dropped, i)
				}
			}
		}
		out = append(out, pr)
	}
	return out, nil
}
