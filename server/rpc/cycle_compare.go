package rpc

import (
	"context"
	"math"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// Compare plans variants of a cycle side by side, and the cycle itself at each
// speed of a sweep. Fits that variants share are computed once.
func (c *Cycles) Compare(ctx context.Context, req *bowrollv1.CyclesCompareRequest) (*bowrollv1.CyclesCompareResponse, error) {
	base, found, err := c.resolver.resolveCycle(ctx, cyclePrefix, req.GetCycle())
	if err != nil {
		return nil, err
	}
	found = append(found, checkVariants(req)...)
	var variants []*resolvedCycle
	if base != nil {
		for i, v := range req.GetVariants() {
			path := "variants[" + strconv.Itoa(i) + "]"
			cycle, faults := varied(req.GetCycle(), v, path)
			found = append(found, faults...)
			rc, faults, err := c.resolver.resolveCycle(ctx, path, cycle)
			if err != nil {
				return nil, err
			}
			found = append(found, faults...)
			variants = append(variants, rc)
		}
	}
	var sweep []*resolvedCycle
	if base != nil && req.GetSpeedSweep() != nil {
		var faults []*bowrollv1.Violation
		if sweep, faults, err = c.sweep(ctx, req); err != nil {
			return nil, err
		}
		found = append(found, faults...)
	}
	if len(found) > 0 {
		return nil, refusal.Invalid(found)
	}
	assessor := newAssessor(c.workers, nil)
	o := allocate.Options{Nodes: nodes(req.NodeLimit)}
	out := new(bowrollv1.CyclesCompareResponse)
	if err := c.sideBySide(ctx, req, variants, assessor, o, out); err != nil {
		return nil, err
	}
	for _, rc := range sweep {
		point, err := c.sweepPoint(ctx, rc, assessor, o)
		if err != nil {
			return nil, err
		}
		out.Curve = append(out.Curve, point)
	}
	out.Provenance = provenance(c.resolver.catalog, base.cycle, base.deck, base.site, &bowrollv1.CyclesCompareRequest{
		Variants: req.GetVariants(), NodeLimit: req.NodeLimit, IncludePlans: req.GetIncludePlans(), SpeedSweep: req.GetSpeedSweep(),
	})
	return out, nil
}

func checkVariants(req *bowrollv1.CyclesCompareRequest) []*bowrollv1.Violation {
	f := &faults{}
	seen := map[string]int{}
	for i, v := range req.GetVariants() {
		if first, again := seen[v.GetId()]; again {
			f.add("variants["+strconv.Itoa(i)+"].id", strconv.Quote(v.GetId()), "unique", "an id of its own", "variants["+strconv.Itoa(first)+"] has it")
			continue
		}
		seen[v.GetId()] = i
	}
	for _, v := range f.list {
		v.Field = trimDot(v.GetField())
	}
	return f.list
}

// varied is the cycle with what a variant has otherwise.
func varied(cycle *bowrollv1.Cycle, v *bowrollv1.CycleVariant, path string) (*bowrollv1.Cycle, []*bowrollv1.Violation) {
	f := &faults{prefix: path}
	out := proto.CloneOf(cycle)
	if v.GetNaturalWind() != nil {
		out.NaturalWind = v.GetNaturalWind()
	}
	if v.GetAir() != nil {
		out.Air = v.GetAir()
	}
	if v.GetShip() != nil {
		out.Ship = v.GetShip()
	}
	if v.GreatestSpeedMps != nil {
		out.GreatestSpeedMps = v.GreatestSpeedMps
	}
	if v.GetCrews() != nil {
		out.Crews = v.GetCrews()
	}
	if v.ReserveCount != nil {
		out.ReserveCount = v.ReserveCount
	}
	if v.GetPolicy() != nil {
		if out.Policy == nil {
			out.Policy = new(bowrollv1.Policy)
		}
		proto.Merge(out.Policy, v.GetPolicy())
	}
	var known []string
	for _, lot := range out.GetLots() {
		known = append(known, lot.GetId())
	}
	for i, l := range v.GetLots() {
		at := slices.Index(known, l.GetLot())
		if at < 0 {
			f.unknown("lots["+strconv.Itoa(i)+"].lot", l.GetLot(), known, "a lot of the cycle")
			continue
		}
		out.Lots[at].UsableCount = l.UsableCount
	}
	return out, f.list
}

// sideBySide plans each variant and holds it against the first.
func (c *Cycles) sideBySide(ctx context.Context, req *bowrollv1.CyclesCompareRequest, variants []*resolvedCycle, assessor *assessor, o allocate.Options, out *bowrollv1.CyclesCompareResponse) error {
	var first map[string]string
	for i, rc := range variants {
		fits, err := assessor.all(ctx, rc, nil)
		if err != nil {
			return err
		}
		q := alone(rc, fits)
		res, err := q.solve(ctx, o)
		if err != nil {
			return err
		}
		p := &planner{workers: c.workers, q: q, part: q.parts[0], rc: rc, res: res}
		v := p.variant(req.GetVariants()[i].GetId())
		goes := p.assignment()
		if i == 0 {
			first = goes
		}
		v.Difference = difference(v.GetObjective(), v.GetObjective())
		if i > 0 {
			v.Difference = difference(v.GetObjective(), out.Variants[0].GetObjective())
		}
		for _, s := range rc.sorties {
			id := s.sortie.GetId()
			was, before := first[id]
			is, now := goes[id]
			switch {
			case now && !before:
				v.LaunchedBesides = append(v.LaunchedBesides, id)
			case before && !now:
				v.Dropped = append(v.Dropped, id)
			case was != is:
				v.Otherwise = append(v.Otherwise, id)
			}
		}
		if req.GetIncludePlans() {
			if v.Plan, err = p.answer(ctx); err != nil {
				return err
			}
			v.Plan.Cautions = p.cautions(v.Plan)
		}
		out.Variants = append(out.Variants, v)
	}
	if len(out.Variants) > 0 {
		out.Winners, out.Best = winners(out.Variants)
	}
	return nil
}

// variant is a plan in short.
func (p *planner) variant(id string) *bowrollv1.VariantAnswer {
	v := &bowrollv1.VariantAnswer{
		Id: id, Proof: proofOf(p.res), Optimal: p.res.Status == allocate.Optimal,
		Objective: p.q.objective(p.res.Objective), Bound: p.q.bound(p.res), Ship: p.rc.ship,
		Wind: p.rc.sorties[0].base.Wind, Lots: p.lots(),
	}
	v.Gap = v.Bound - float64(p.res.Objective.Priority)
	for i, s := range p.rc.sorties {
		if p.part.chosen(p.res, i) != nil {
			v.LaunchedCount++
		} else {
			v.Held = append(v.Held, s.sortie.GetId())
		}
	}
	return v
}

// assignment names what each sortie that launches has.
func (p *planner) assignment() map[string]string {
	m := map[string]string{}
	for i, s := range p.rc.sorties {
		if fit := p.part.chosen(p.res, i); fit != nil {
			m[s.sortie.GetId()] = fit.place.spot + " " + unitsOf(p.rc.draws(fit))
		}
	}
	return m
}

// valueLevels are the levels of the objective in order of weight, greater being
// better.
var valueLevels = []struct {
	name  string
	sense float64
	of    func(*bowrollv1.Objective) float64
}{
	{"priority_launched", 1, func(o *bowrollv1.Objective) float64 { return float64(o.GetPriorityLaunched()) }},
	{"units_used", -1, func(o *bowrollv1.Objective) float64 { return float64(o.GetUnitsUsed()) }},
	{"expiry_rank", -1, func(o *bowrollv1.Objective) float64 { return float64(o.GetExpiryRank()) }},
	{"margin_m", 1, func(o *bowrollv1.Objective) float64 { return o.GetMarginM() }},
}

// winners says who is best in each level by itself, and who level by level.
func winners(list []*bowrollv1.VariantAnswer) (byLevel []*bowrollv1.LevelWinner, best []string) {
	left := slices.Clone(list)
	for _, level := range valueLevels {
		top := math.Inf(-1)
		for _, v := range list {
			top = max(top, level.sense*level.of(v.GetObjective()))
		}
		w := &bowrollv1.LevelWinner{Name: level.name, Value: level.sense * top}
		for _, v := range list {
			if level.sense*level.of(v.GetObjective()) == top {
				w.Variants = append(w.Variants, v.GetId())
			}
		}
		byLevel = append(byLevel, w)
		topLeft := math.Inf(-1)
		for _, v := range left {
			topLeft = max(topLeft, level.sense*level.of(v.GetObjective()))
		}
		left = slices.DeleteFunc(left, func(v *bowrollv1.VariantAnswer) bool { return level.sense*level.of(v.GetObjective()) < topLeft })
	}
	for _, v := range left {
		best = append(best, v.GetId())
	}
	return byLevel, best
}

// sweep resolves the cycle at each speed, the launch axis in the wind unless the
// course is given.
func (c *Cycles) sweep(ctx context.Context, req *bowrollv1.CyclesCompareRequest) ([]*resolvedCycle, []*bowrollv1.Violation, error) {
	s := req.GetSpeedSweep()
	site, ok := c.resolver.catalog.Site(siteName(req.GetCycle().GetDeck()))
	if ok && site.GreatestSpeedMps == nil {
		return nil, []*bowrollv1.Violation{{Field: "speed_sweep", Rule: "goes-with", Hint: "the site " + site.GetName() + " does not move"}}, nil
	}
	if ok && s.GetGreatestMps() > site.GetGreatestSpeedMps() {
		return nil, []*bowrollv1.Violation{{
			Field: "speed_sweep.greatest_mps", Value: number(s.GetGreatestMps()), Rule: "range",
			Allowed: "at most " + number(site.GetGreatestSpeedMps()) + " m/s, the greatest speed of " + site.GetName(),
		}}, nil
	}
	var list []*resolvedCycle
	var found []*bowrollv1.Violation
	steps := int(math.Floor((s.GetGreatestMps()-s.GetLeastMps())/s.GetStepMps() + 1e-9))
	for k := 0; k <= steps; k++ {
		speed := s.GetLeastMps() + float64(float64(k)*s.GetStepMps())
		cycle := proto.CloneOf(req.GetCycle())
		if cycle.GetShip() != nil {
			cycle.Ship.SpeedMps = &speed
		} else {
			cycle.LeastSpeedMps, cycle.GreatestSpeedMps = &speed, &speed
		}
		rc, faults, err := c.resolver.resolveCycle(ctx, cyclePrefix, cycle)
		if err != nil {
			return nil, nil, err
		}
		found = append(found, faults...)
		list = append(list, rc)
	}
	return list, found, nil
}

func (c *Cycles) sweepPoint(ctx context.Context, rc *resolvedCycle, assessor *assessor, o allocate.Options) (*bowrollv1.SweepPoint, error) {
	fits, err := assessor.all(ctx, rc, nil)
	if err != nil {
		return nil, err
	}
	q := alone(rc, fits)
	res, err := q.solve(ctx, o)
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.SweepPoint{
		ShipSpeedMps: rc.ship.GetSpeedMps(), CourseDeg: rc.ship.GetCourseDeg(), HeadwindMps: rc.sorties[0].base.Wind.GetHeadwindMps(),
		Objective: q.objective(res.Objective), Optimal: res.Status == allocate.Optimal,
	}
	for i := range rc.sorties {
		if q.parts[0].chosen(res, i) != nil {
			out.LaunchedCount++
		}
	}
	return out, nil
}
