package chance

import (
	"context"
	"slices"

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
	// Found is the nominal best, where it was searched for already with the same
	// units, brakes and reaction; nil: search for it.
	Found *takeoff.BestFiring
	// Given is the firing, where it is planned already: it is only reported. Nil:
	// search for it.
	Given *takeoff.Firing

	// Times is how many command times are looked at before the best is refined,
	// 0 for 20.
	Times int
	// Look, Refine and Report are how many draws are used to look, to refine and
	// to report, 0 for 48, 96 and 192. What is reported comes from draws that
	// had no part in the search, which would flatter it.
	Look, Refine, Report int
	// CurveCovered asks whether every command time looked at is covered.
	CurveCovered bool
	// Brief leaves out what does not bear on the choice: the draws to report with,
	// house rules, half a second early and late, and the legs.
	Brief bool
}

// The search where nothing else is asked for.
const (
	defaultTimes  = 20
	defaultLook   = 48
	defaultRefine = 96
	defaultReport = 192

	planTolerS = 0.05 // below what a pilot can command to
	asideS     = 0.5
)

// An Option is one firing and what comes of it.
type Option struct {
	Firing      takeoff.Firing
	Nominal     takeoff.Roll
	HoldMarginN float64 // on the brakes: by how much they hold
	P50M        float64 // of the run, +Inf where so many draws do not lift off
	PercentileM float64
	P99M        float64
	Fits        bool // the required run fits the run available
	Covered     bool // every single failure has a way out that the policy accepts

	judged bool // Covered is known
}

// A Planned is the firing with the least percentile of the run among those whose
// required run fits and that stay covered, and what it was compared with.
type Planned struct {
	Option                // the firing planned
	Legs     takeoff.Legs // of the firing planned
	Best     Option       // the nominal best
	Found    takeoff.BestFiring
	Early    *Option  // half a second before the firing planned; nil where that is not possible; coverage left out
	Late     *Option  // half a second after it; nil on the brakes; coverage left out
	OnBrakes *Option  // if asked
	House    []Option // as asked
	Curve    []Option // over the command times looked at, on the draws to look with
	Draws    int      // behind every percentile other than those of the curve
}

// PriceM is what the firing planned costs in nominal run over the nominal best.
func (p *Planned) PriceM() float64 {
	return takeoff.ByRun.Of(p.Nominal) - takeoff.ByRun.Of(p.Best.Nominal)
}

// GainM is what it saves in the percentile of the run.
func (p *Planned) GainM() float64 { return p.Best.PercentileM - p.PercentileM }

// PlanFiring plans one firing; see [Planner.Plan].
func PlanFiring(ctx context.Context, c *Case, search Search, sample *Sample) (Planned, error) {
	return new(Planner).Plan(ctx, c, search, sample)
}

// A Planner plans one firing after another and reuses its memory. It is not
// safe for concurrent use.
type Planner struct {
	c          *Case
	ended      func() error // why the plan being made is no longer wanted, if so
	search     Search
	look       int // draws to look with
	refine     int // draws to refine with
	reportFrom int // the first of the draws to report from
	draws      []draw
	runs       []float64
	schedule   booster.Schedule
}

// Plan finds the command time with the least percentile of the run among those
// whose required run fits the run available and that stay covered, from 0 to
// lift-off without firing, with the brakes beside it where they hold. All firings
// are tried on the same draws. Where none fits, or none is covered, the one of
// least percentile is planned all the same and says so.
func (p *Planner) Plan(ctx context.Context, c *Case, search Search, sample *Sample) (Planned, error) {
	if err := c.Validate(); err != nil {
		return Planned{}, err
	}
	// Whatever is left half done once ctx has ended goes no further than this: it
	// never starts again, and each way out returns its error.
	p.ended = ctx.Err
	p.prepare(c, search, sample)
	plan := Planned{Draws: len(p.draws) - p.reportFrom}
	if search.Found != nil {
		plan.Found = *search.Found
	} else {
		plan.Found = c.Runner.BestFiring(&p.schedule, c.Units, takeoff.FiringSearch{
			Measure: takeoff.ByRun, Brakes: search.Brakes, ReactionS: search.ReactionS,
		})
	}
	if err := ctx.Err(); err != nil {
		return Planned{}, err
	}
	plan.Found.Choice = plan.Found.Allowed()
	plan.Best = p.report(plan.Found.Firing)
	if search.Brakes {
		brakes := p.report(takeoff.Firing{Mode: takeoff.OnBrakes, ReactionS: search.ReactionS})
		plan.OnBrakes = &brakes
	}
	if search.Given != nil {
		plan.Option = p.report(*search.Given)
	} else if err := p.choose(ctx, &plan); err != nil {
		return Planned{}, err
	}
	if search.Brief {
		return plan, ctx.Err()
	}
	for _, rule := range search.House {
		plan.House = append(plan.House, p.report(rule))
	}
	if plan.Firing.Mode == takeoff.Rolling {
		late := p.option(rollingAt(plan.Firing.DelayS+asideS), p.draws[p.reportFrom:])
		plan.Late = &late
		if plan.Firing.DelayS >= asideS {
			early := p.option(rollingAt(plan.Firing.DelayS-asideS), p.draws[p.reportFrom:])
			plan.Early = &early
		}
	}
	if err := ctx.Err(); err != nil {
		return Planned{}, err
	}
	plan.Legs = c.Runner.Legs(&p.schedule, c.Units, plan.Firing, search.Policy, search.AvailableM)
	return plan, ctx.Err()
}

// choose plans the firing: the best while rolling, the nominal best or the brakes,
// if they hold.
func (p *Planner) choose(ctx context.Context, plan *Planned) error {
	delay, err := p.rolling(ctx, plan)
	if err != nil {
		return err
	}
	plan.Option = p.report(rollingAt(delay))
	if p.better(&plan.Best, &plan.Option) {
		plan.Option = plan.Best
	}
	if brakes := plan.OnBrakes; brakes != nil && brakes.HoldMarginN >= 0 && p.better(brakes, &plan.Option) {
		plan.Option = *brakes
	}
	p.covered(&plan.Option)
	return nil
}

func rollingAt(delayS float64) takeoff.Firing {
	return takeoff.Firing{Mode: takeoff.Rolling, DelayS: delayS}
}

// prepare sets up the draws.
func (p *Planner) prepare(c *Case, search Search, sample *Sample) {
	p.c, p.search, p.look, p.refine = c, search, search.Look, search.Refine
	report := search.Report
	for _, n := range []struct {
		count    *int
		standard int
	}{{&p.look, defaultLook}, {&p.refine, defaultRefine}, {&report, defaultReport}} {
		if *n.count <= 0 {
			*n.count = n.standard
		}
	}
	size := sample.Size()
	p.refine = min(p.refine, max(1, size/2))
	p.look = min(p.look, p.refine)
	p.reportFrom = min(p.refine, size-1)
	n := min(size, p.reportFrom+report)
	if search.Brief {
		p.reportFrom, n = 0, p.refine
	}
	if n > cap(p.draws) {
		p.draws = append(p.draws[:cap(p.draws)], make([]draw, n-cap(p.draws))...)
	}
	p.draws = p.draws[:n]
	p.runs = slices.Grow(p.runs[:0], n)[:n]
	table, err := sample.take(p.ended, c.columns())
	if err != nil {
		return
	}
	o := c.odds()
	for i := range p.draws {
		if i%block == 0 && p.ended() != nil {
			return
		}
		p.draws[i].set(&o, func(column int) float64 { return table[column].scores[i] })
	}
}

// option works out one firing over some of the draws; whether it is covered is
// left open.
func (p *Planner) option(f takeoff.Firing, draws []draw) Option {
	o := Option{Firing: f}
	runs := p.runs[:len(draws)]
	for i := range draws {
		if i%block == 0 && p.ended() != nil {
			return o
		}
		runs[i] = draws[i].run(f, &p.schedule)
	}
	o.P50M, o.PercentileM, o.P99M = percentile(runs, 0.5), percentile(runs, p.search.Percentile), percentile(runs, 0.99)
	f.Schedule(&p.schedule, p.c.Units)
	o.Nominal = p.c.Runner.Roll(&p.schedule)
	o.Fits = takeoff.ByRun.Of(o.Nominal)*p.search.Policy.RunFactor <= p.search.AvailableM
	if f.Mode == takeoff.OnBrakes {
		o.HoldMarginN = p.c.Runner.BrakesHold(&p.schedule, f)
	}
	return o
}

// report is an option as it is reported.
func (p *Planner) report(f takeoff.Firing) Option {
	o := p.option(f, p.draws[p.reportFrom:])
	if !p.search.Brief && p.ended() == nil {
		p.covered(&o)
	}
	return o
}

func (p *Planner) covered(o *Option) bool {
	if !o.judged {
		o.Covered = p.c.Runner.Covered(&p.schedule, p.c.Units, o.Firing, p.search.Policy, p.search.AvailableM)
		o.judged = true
	}
	return o.Covered
}

// better tells whether a is to be planned rather than b: one that fits before one
// that does not, covered before not covered, then the lesser percentile, then the lesser median and nominal run,
// which decide where too many draws do not lift off. Coverage, which costs more
// than a percentile, is worked out only where it decides.
func (p *Planner) better(a, b *Option) bool {
	if a.Fits != b.Fits {
		return a.Fits
	}
	if !lesser(a, b) {
		return lesser(b, a) && !p.covered(b) && p.covered(a)
	}
	return p.covered(a) || !p.covered(b)
}

func lesser(a, b *Option) bool {
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

// rolling finds the command time while rolling: the whole range is looked at,
// then the lowest place is narrowed down. Coverage is left out at first; only
// where the best without it is not covered is the search made again with it.
func (p *Planner) rolling(ctx context.Context, plan *Planned) (delayS float64, err error) {
	if err := p.lookOver(ctx, plan); err != nil {
		return 0, err
	}
	best, err := p.narrow(ctx, plan, p.shorter)
	if err == nil && !p.covered(&best) {
		best, err = p.narrow(ctx, plan, p.better)
	}
	return best.Firing.DelayS, err
}

// shorter is better without a look at coverage.
func (p *Planner) shorter(a, b *Option) bool {
	if a.Fits != b.Fits {
		return a.Fits
	}
	return lesser(a, b)
}

// lookOver works out the curve over the whole range of command times.
func (p *Planner) lookOver(ctx context.Context, plan *Planned) error {
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
		plan.Curve = append(plan.Curve, p.option(rollingAt(part*end), p.draws[:p.look]))
		if p.search.CurveCovered {
			p.covered(&plan.Curve[i])
		}
	}
	return nil
}

// narrow takes the lowest place of the curve and narrows it down by golden
// section on the draws to refine with.
func (p *Planner) narrow(ctx context.Context, plan *Planned, before func(a, b *Option) bool) (Option, error) {
	curve := plan.Curve
	lowest := 0
	for i := range curve {
		if before(&curve[i], &curve[lowest]) {
			lowest = i
		}
	}
	low, high := curve[max(0, lowest-1)].Firing.DelayS, curve[min(len(curve)-1, lowest+1)].Firing.DelayS
	try := func(x float64) Option { return p.option(rollingAt(x), p.draws[:p.refine]) }
	best := try(curve[lowest].Firing.DelayS)
	const golden = 0.6180339887498949
	x1, x2 := high-float64(golden*(high-low)), low+float64(golden*(high-low))
	o1, o2 := try(x1), try(x2)
	for high-low > planTolerS {
		if err := ctx.Err(); err != nil {
			return best, err
		}
		if before(&o2, &o1) {
			low, x1, o1 = x1, x2, o2
			x2 = low + float64(golden*(high-low))
			o2 = try(x2)
		} else {
			high, x2, o2 = x2, x1, o1
			x1 = high - float64(golden*(high-low))
			o1 = try(x1)
		}
	}
	for _, o := range []*Option{&o1, &o2} {
		if before(o, &best) {
			best = *o
		}
	}
	return best, nil
}
