package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// Input is an input that a single change may alter.
type Input uint8

// The inputs, those that are cheapest to change first.
const (
	InputCommand   Input = iota // time of the firing command, s
	InputHeadwind               // credited headwind, m/s
	InputAvailable              // run available, m
	InputUnits                  // number of units
	InputMass                   // gross mass without units, kg
)

// A Change is a single change of one input, all else held.
type Change struct {
	Input Input
	By    float64 // added to it
	To    float64 // what it is then
	// Replanned: the units are fired anew, at their nominal best, with it.
	Replanned bool
}

// A ChangeQuestion says what an assessment was made of and what may be changed.
type ChangeQuestion struct {
	Plan   Plan
	Demand Demand
	// Fits are other fits the type may carry, in order of the units they take;
	// an empty one is the bare aircraft.
	Fits [][]booster.Unit
}

// How closely changes are found: no closer than anyone would make them.
const (
	changeTolerMPS   = 0.01
	changeTolerM     = 0.05
	changeTolerKG    = 0.5
	changeTolerS     = 0.01
	mostChangeRunM   = 5000
	mostCommandShift = 4.0
	commandStepS     = 0.1
	stepGrowth       = 1.5
)

// changer looks for changes that clear one finding.
type changer struct {
	r       *Runner
	s       *booster.Schedule
	q       ChangeQuestion
	firing  Firing
	target  Finding
	allowed map[Outcome]bool
}

// Changes lists single changes that would clear a finding of an assessment, the
// cheapest first, each by as little as will do, and none that would bring up
// something else that holds the aircraft. The schedule is scratch memory.
func (r *Runner) Changes(s *booster.Schedule, a *Assessment, q ChangeQuestion, target Finding) []Change {
	c := changer{r: r, s: s, q: q, firing: a.Firing, target: target, allowed: map[Outcome]bool{}}
	c.q.Plan.Beside = false
	if target.Outcome != NotWorthFitting {
		c.q.Plan.Bare = nil
	}
	for _, f := range a.Verdict {
		c.allowed[f.Outcome] = true
	}
	var list []Change
	if len(r.setting.Units) > 0 && !q.Plan.Search {
		list = append(list, c.command()...)
	}
	if target.Outcome == NotWorthFitting {
		return append(list, c.fits()...)
	}
	list = append(list, c.headwind()...)
	list = append(list, c.available()...)
	list = append(list, c.fits()...)
	return append(list, c.mass()...)
}

// clears tells whether the finding is gone from a take-off and nothing has come
// that holds the aircraft and did not before.
func (c *changer) clears(r *Runner, plan Plan, d Demand) bool {
	a := r.Assess(c.s, plan, d)
	for _, f := range a.Verdict {
		if f.Outcome == c.target.Outcome && f.Note == c.target.Note {
			return false
		}
		if f.Outcome.Holds() && !c.allowed[f.Outcome] {
			return false
		}
	}
	return true
}

// outward looks from 0 in ever longer steps towards an end for a change that
// clears, since too much of it may do as little as too little, and narrows it down to within tolerance from the side that clears.
func (c *changer) outward(first, end, tolerance float64, clears func(by float64) bool) (by float64, ok bool) {
	if end == 0 || first == 0 {
		return 0, false
	}
	bad, step := 0.0, math.Copysign(first, end)
	for {
		good := step
		if math.Abs(good) > math.Abs(end) {
			good = end
		}
		if clears(good) {
			for math.Abs(good-bad) > tolerance {
				if mid := bad + float64(0.5*(good-bad)); clears(mid) {
					good = mid
				} else {
					bad = mid
				}
			}
			return good, true
		}
		if good == end {
			return 0, false
		}
		bad, step = good, stepGrowth*step
	}
}

// command looks for the nearest other time of command, or for the best one.
func (c *changer) command() []Change {
	at := func(delay float64) bool {
		plan := c.q.Plan
		plan.Firing = Firing{Mode: Rolling, DelayS: delay, ReactionS: c.firing.ReactionS}
		return c.clears(c.r, plan, c.q.Demand)
	}
	if c.firing.Mode == Rolling {
		for shift := commandStepS; shift <= mostCommandShift; shift += commandStepS {
			for _, by := range [2]float64{shift, -shift} {
				if to := c.firing.DelayS + by; to >= 0 && at(to) {
					return []Change{{Input: InputCommand, By: by, To: to}}
				}
			}
		}
	}
	best := c.r.BestFiring(c.s, c.r.setting.Units, FiringSearch{Measure: ByRun}).Rolling
	if best.Roll.LiftsOff && at(best.Firing.DelayS) {
		by := best.Firing.DelayS
		if c.firing.Mode == Rolling {
			by -= c.firing.DelayS
		}
		return []Change{{Input: InputCommand, By: by, To: best.Firing.DelayS, Replanned: true}}
	}
	return nil
}

func (c *changer) headwind() []Change {
	varied := *c.r
	most := GreatestHeadwindMPS - c.r.headwind
	if ceiling := c.q.Demand.CeilingMPS; ceiling != nil {
		most = min(most, *ceiling-c.q.Demand.WindOverDeckMPS)
	}
	by, ok := c.outward(0.5, max(0, most), changeTolerMPS, func(by float64) bool {
		varied.SetHeadwind(c.r.headwind + by)
		d := c.q.Demand
		d.TailwindMPS = max(0, d.TailwindMPS-by)
		if d.WindOverDeckMPS > 0 {
			d.WindOverDeckMPS += by
		}
		return c.clears(&varied, c.q.Plan, d)
	})
	if !ok {
		return nil
	}
	return []Change{{Input: InputHeadwind, By: by, To: c.r.headwind + by, Replanned: c.q.Plan.Search}}
}

func (c *changer) available() []Change {
	by, ok := c.outward(1, max(0, mostChangeRunM-c.q.Demand.AvailableM), changeTolerM, func(by float64) bool {
		d := c.q.Demand
		d.AvailableM += by
		return c.clears(c.r, c.q.Plan, d)
	})
	if !ok {
		return nil
	}
	return []Change{{Input: InputAvailable, By: by, To: c.q.Demand.AvailableM + by, Replanned: c.q.Plan.Search}}
}

// fits looks for the fit nearest in number of units, fired at its best: the
// command of another number says nothing for this one.
func (c *changer) fits() []Change {
	have := len(c.r.setting.Units)
	var found []Change
	setting := c.r.setting
	var varied Runner
	for _, units := range c.q.Fits {
		by := len(units) - have
		if by == 0 || len(found) > 0 && math.Abs(found[0].By) <= math.Abs(float64(by)) {
			continue
		}
		setting.Units = units
		if varied.Reset(setting) != nil {
			continue
		}
		plan := c.q.Plan
		plan.Search = len(units) > 0
		if len(units) == 0 {
			plan.Firing = Firing{Mode: Unlit}
		}
		if c.clears(&varied, plan, c.q.Demand) {
			found = []Change{{Input: InputUnits, By: float64(by), To: float64(len(units)), Replanned: plan.Search}}
		}
	}
	return found
}

func (c *changer) mass() []Change {
	least := c.r.setting.Aircraft.EmptyMassKG
	if least <= 0 || least >= c.r.grossMass {
		return nil
	}
	varied := *c.r
	by, ok := c.outward(0.01*c.r.grossMass, least-c.r.grossMass, changeTolerKG, func(by float64) bool {
		varied.SetGrossMass(c.r.grossMass + by)
		return c.clears(&varied, c.q.Plan, c.q.Demand)
	})
	if !ok {
		return nil
	}
	return []Change{{Input: InputMass, By: by, To: c.r.grossMass + by, Replanned: c.q.Plan.Search}}
}
