package chance

import (
	"context"
	"sort"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// A Search says how the firing is to be planned.
type Search struct {
	AvailableM float64
	Policy     takeoff.Policy
	Percentile float64 // of the run, e.g. 0.95
	Brakes     bool    // firing on the brakes may be planned
	ReactionS  float64 // on the brakes: first thrust to release
	House      []takeoff.Firing

	// Times is how many command times are looked at before the best are refined,
	// 0 for 24.
	Times int
	// First and All are how many draws are used to look and to refine, 0 for 64
	// and 256; at most those of the sample.
	First, All int
}

// An Option is one firing and what comes of it.
type Option struct {
	Firing      takeoff.Firing
	Nominal     takeoff.Roll
	HoldMarginN float64 // on the brakes: by how much they hold
	P50M        float64 // of the run, +Inf where so many draws do not lift off
	PercentileM float64
	Covered     bool // every single failure has a way out that the policy accepts
}

// A Planned is the firing with the least percentile of the run among those that
// stay covered, and what it was compared with.
type Planned struct {
	Option                // the firing planned
	Legs     takeoff.Legs // of the firing planned
	Best     Option       // the nominal best
	Found    takeoff.BestFiring
	Early    *Option  // half a second before the firing planned; nil where that is not possible
	Late     *Option  // half a second after it; nil on the brakes
	OnBrakes *Option  // if asked
	House    []Option // as asked
	Curve    []Option // over the command times looked at, with the first draws only
	Draws    int      // behind the percentiles other than those of the curve
	// AnyCovered is false where no firing found is covered: the firing planned is
	// then the one of least percentile.
	AnyCovered bool
}

// PriceM is what the firing planned costs in nominal run over the nominal best.
func (p *Planned) PriceM() float64 { return p.Nominal.RunM - p.Best.Nominal.RunM }

// GainM is what it saves in the percentile of the run.
func (p *Planned) GainM() float64 { return p.Best.PercentileM - p.PercentileM }

const (
	defaultTimes = 24
	defaultFirst = 64
	defaultAll   = 256

	planTolerS = 0.02 // far below what a pilot can command to
	asideS     = 0.5
)

// PlanFiring finds the command time with the least percentile of the run among
// those that stay covered, from 0 to lift-off without firing, with the brakes
// beside it. All firings are tried on the same draws.
func PlanFiring(ctx context.Context, c *Case, search Search, sample *Sample) (Planned, error) {
	if err := c.Validate(); err != nil {
		return Planned{}, err
	}
	p := newPlanner(c, search, sample)
	plan := Planned{Draws: p.all}
	plan.Found = c.Runner.BestFiring(&p.schedule, c.Units, takeoff.FiringSearch{
		Measure: takeoff.ByRun, Brakes: search.Brakes, ReactionS: search.ReactionS,
	})
	if err := p.look(ctx, &plan); err != nil {
		return Planned{}, err
	}
	best := p.refine(ctx, &plan)
	plan.Best = p.option(plan.Found.Firing, p.all)
	if search.Brakes {
		brakes := p.option(takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: search.ReactionS}, p.all)
		plan.OnBrakes = &brakes
		if brakes.HoldMarginN >= 0 && better(brakes, best) {
			best = brakes
		}
	}
	if better(plan.Best, best) && !(plan.Best.Firing.Mode == takeoff.OnBrakes && plan.Best.HoldMarginN < 0) {
		best = plan.Best
	}
	plan.Option, plan.AnyCovered = best, best.Covered
	for _, rule := range search.House {
		plan.House = append(plan.House, p.option(rule, p.all))
	}
	if best.Firing.Mode == takeoff.Rolling {
		late := p.option(rollingAt(best.Firing.DelayS+asideS), p.all)
		plan.Late = &late
		if best.Firing.DelayS >= asideS {
			early := p.option(rollingAt(best.Firing.DelayS-asideS), p.all)
			plan.Early = &early
		}
	}
	plan.Legs = c.Runner.Legs(&p.schedule, c.Units, best.Firing, search.Policy, search.AvailableM)
	return plan, ctx.Err()
}

func rollingAt(delayS float64) takeoff.Firing {
	return takeoff.Firing{Mode: takeoff.Rolling, DelayS: delayS}
}

// better tells whether a is to be planned rather than b: covered before not
// covered, then the lesser percentile, then the lesser median and nominal run,
// which decide where too many draws do not lift off.
func better(a, b Option) bool {
	if a.Covered != b.Covered {
		return a.Covered
	}
	for _, pair := range [3][2]float64{
		{a.PercentileM, b.PercentileM}, {a.P50M, b.P50M},
		{takeoff.ByRun.Of(a.Nominal), takeoff.ByRun.Of(b.Nominal)},
	} {
		if pair[0] != pair[1] {
			return pair[0] < pair[1]
		}
	}
	return false
}

// planner holds the draws of a case for one search.
type planner struct {
	c          *Case
	search     Search
	first, all int
	draws      []draw
	runs       []float64
	schedule   booster.Schedule
}

func newPlanner(c *Case, search Search, sample *Sample) *planner {
	p := &planner{c: c, search: search, first: search.First, all: search.All}
	if p.all <= 0 {
		p.all = defaultAll
	}
	if p.first <= 0 {
		p.first = defaultFirst
	}
	p.all = min(p.all, sample.Size())
	p.first = min(p.first, p.all)
	p.draws = make([]draw, p.all)
	p.runs = make([]float64, p.all)
	table := sample.take(c.columns())
	for i := range p.draws {
		p.draws[i].set(c, func(column int) float64 { return table[column].scores[i] })
	}
	return p
}

// percentiles are those of the run over the first n draws.
func (p *planner) percentiles(f takeoff.Firing, n int) (median, high float64) {
	for i := range n {
		p.runs[i] = takeoff.ByRun.Of(p.draws[i].roll(f))
	}
	return percentile(p.runs[:n], 0.5), percentile(p.runs[:n], p.search.Percentile)
}

// option works out one firing over the first n draws.
func (p *planner) option(f takeoff.Firing, n int) Option {
	o := Option{Firing: f}
	o.P50M, o.PercentileM = p.percentiles(f, n)
	f.Schedule(&p.schedule, p.c.Units)
	o.Nominal = p.c.Runner.Roll(&p.schedule)
	if f.Mode == takeoff.OnBrakes {
		o.HoldMarginN = p.c.Runner.BrakesHold(&p.schedule, f)
	}
	o.Covered = p.covered(f)
	return o
}

func (p *planner) covered(f takeoff.Firing) bool {
	return p.search.Policy.Legs == takeoff.LegNeither ||
		p.c.Runner.Covered(&p.schedule, p.c.Units, f, p.search.Policy, p.search.AvailableM)
}

// look goes over the whole range of command times.
func (p *planner) look(ctx context.Context, plan *Planned) error {
	end := plan.Found.Searched[1]
	times := p.search.Times
	if times <= 1 {
		times = defaultTimes
	}
	for i := range times {
		if err := ctx.Err(); err != nil {
			return err
		}
		part := float64(i) / float64(times-1)
		if !plan.Found.Unlit.LiftsOff {
			part *= part // nothing changes any more once the speed is steady
		}
		plan.Curve = append(plan.Curve, p.option(rollingAt(part*end), p.first))
	}
	return nil
}

// refine narrows down the lowest places of the curve on all draws.
func (p *planner) refine(ctx context.Context, plan *Planned) Option {
	order := make([]int, len(plan.Curve))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return better(plan.Curve[order[a]], plan.Curve[order[b]]) })
	best := p.option(plan.Curve[order[0]].Firing, p.all)
	at := order[0]
	low := plan.Curve[max(0, at-1)].Firing.DelayS
	high := plan.Curve[min(len(plan.Curve)-1, at+1)].Firing.DelayS
	const golden = 0.6180339887498949
	try := func(x float64) Option { return p.option(rollingAt(x), p.all) }
	x1, x2 := high-golden*(high-low), low+golden*(high-low)
	o1, o2 := try(x1), try(x2)
	for high-low > planTolerS && ctx.Err() == nil {
		if better(o2, o1) {
			low, x1, o1 = x1, x2, o2
			x2 = low + golden*(high-low)
			o2 = try(x2)
		} else {
			high, x2, o2 = x2, x1, o1
			x1 = high - golden*(high-low)
			o1 = try(x1)
		}
	}
	for _, o := range []Option{o1, o2} {
		if better(o, best) {
			best = o
		}
	}
	return best
}
