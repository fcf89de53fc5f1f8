package rpc

import (
	"context"
	"slices"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	"bowroll/perf/allocate/timeline"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// oneKnotMPS is the knot, exact by definition: a nautical mile of 1852 m an hour.
const oneKnotMPS = 1852.0 / 3600

// prices plans again with one pair of each lot, one team and one knot more.
func (c *Cycles) prices(ctx context.Context, p *planner, assessor *assessor, o allocate.Options) ([]*bowrollv1.Price, error) {
	ctx, span := stage(ctx, "prices")
	defer span.End()
	var list []*bowrollv1.Price
	for i := range p.rc.lots {
		if p.rc.lots[i].barred != "" {
			continue
		}
		lot := p.part.lots[i]
		with := p.q.copy()
		with.problem.Lots[lot].Available += 2
		for k := range with.problem.Transfers {
			with.problem.Transfers[k].MaxUnits += 2 * min(1, len(p.q.reserves))
		}
		// Fits that draw more than there is now may come within reach.
		with.refit()
		price, err := p.price(ctx, with, o, &bowrollv1.Change{
			Quantity: "unit_count", Change: 2, Text: "one more pair of " + p.rc.lots[i].lot.GetId(),
		})
		if err != nil {
			return nil, err
		}
		list = append(list, price)
	}
	if crews := p.q.problem.Sites[p.part.site].Crews; crews != nil {
		with := p.q.copy()
		more := *crews
		more.Teams++
		with.problem.Sites[p.part.site].Crews = &more
		price, err := p.price(ctx, with, o, &bowrollv1.Change{Quantity: "team_count", Change: 1, Text: "one more fitting team"})
		if err != nil {
			return nil, err
		}
		if p.rc.cycle.GetDeckWork() != nil {
			items, _ := p.items()
			sooner, err := timeline.OneMoreTeam(p.rc.deckOf(items), items, nil)
			if err != nil {
				return nil, err
			}
			price.SpanSavedS = proto.Float64(float64(sooner))
		}
		list = append(list, price)
	}
	knot, err := c.oneMoreKnot(ctx, p, assessor, o)
	if err != nil || knot == nil {
		return list, err
	}
	return append(list, knot), nil
}

// oneMoreKnot plans again with a faster ship where it has a knot to give, else
// with a knot more of natural wind. It is nil where neither is possible.
func (c *Cycles) oneMoreKnot(ctx context.Context, p *planner, assessor *assessor, o allocate.Options) (*bowrollv1.Price, error) {
	cycle := p.rc.asked()
	change := &bowrollv1.Change{Change: oneKnotMPS}
	if ship := p.rc.ship; ship != nil && ship.GetSpeedMps()+oneKnotMPS <= p.rc.site.GetGreatestSpeedMps() {
		change.Quantity, change.Text = "ship.speed_mps", "one more knot of the ship"
		cycle.Ship = &bowrollv1.Ship{CourseDeg: ship.CourseDeg, SpeedMps: proto.Float64(ship.GetSpeedMps() + oneKnotMPS)}
	} else {
		change.Quantity, change.Text = "natural_wind.speed_mps", "one more knot of natural wind"
		wind := cycle.GetNaturalWind()
		for _, v := range []*float64{wind.SpeedMps, wind.LullMps, wind.GustMps} {
			if v != nil {
				*v += oneKnotMPS
			}
		}
	}
	rc, found, err := c.resolver.resolveCycle(ctx, p.rc.prefix, cycle)
	if err != nil || len(found) > 0 {
		return nil, err // a knot more is outside what the contract takes: it has no price
	}
	fits, err := assessor.all(ctx, rc, nil)
	if err != nil {
		return nil, err
	}
	with := alone(rc, fits)
	for i := range with.problem.Sites {
		with.problem.Sites[i].Reserve = p.q.problem.Sites[i].Reserve
	}
	return p.price(ctx, with, o, change)
}

// asked is the cycle as resolved, fit to be changed and resolved again.
func (rc *resolvedCycle) asked() *bowrollv1.Cycle { return proto.CloneOf(rc.cycle) }

// copy is a queue whose problem may be changed.
func (q *queue) copy() *queue {
	out := *q
	out.problem.Sites = slices.Clone(q.problem.Sites)
	out.problem.Lots = slices.Clone(q.problem.Lots)
	out.problem.Transfers = slices.Clone(q.problem.Transfers)
	return &out
}

// refit lists the fits again that the stock has room for.
func (q *queue) refit() {
	parts := q.parts
	q.parts, q.problem.Sorties, q.problem.Groups = nil, nil, nil
	for _, p := range parts {
		again := *p
		q.addSorties(&again)
	}
}

// price is what a change of the means does to the plan, by name of sortie.
func (p *planner) price(ctx context.Context, with *queue, o allocate.Options, change *bowrollv1.Change) (*bowrollv1.Price, error) {
	with.problem.KeepAfter = 0 // what an earlier plan had is worth nothing here
	res, err := allocate.Solve(ctx, &with.problem, o)
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	out := &bowrollv1.Price{Change: change, Proven: res.Status == allocate.Optimal && p.res.Status == allocate.Optimal}
	if res.Choices == nil {
		return out, nil
	}
	out.Gain = difference(p.q.objective(res.Objective), p.q.objective(p.res.Objective))
	for i := range p.res.Choices {
		was, is := p.res.Choices[i].Fit != allocate.Held, res.Choices[i].Fit != allocate.Held
		switch {
		case is && !was:
			out.Launched = append(out.Launched, p.q.sortieName(i))
		case was && !is:
			out.Dropped = append(out.Dropped, p.q.sortieName(i))
		}
	}
	return out, nil
}

// difference is one objective less another.
func difference(a, b *bowrollv1.Objective) *bowrollv1.Objective {
	return &bowrollv1.Objective{
		PriorityLaunched: a.GetPriorityLaunched() - b.GetPriorityLaunched(),
		UnitsUsed:        a.GetUnitsUsed() - b.GetUnitsUsed(),
		ExpiryRank:       a.GetExpiryRank() - b.GetExpiryRank(),
		MarginM:          a.GetMarginM() - b.GetMarginM(),
	}
}
