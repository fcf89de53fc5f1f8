package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// WindStepMPS is what least headwinds are rounded up to: a headwind given as
// enough is enough to the last digit, and one step less is not.
const WindStepMPS = 1e-6

// A WindQuestion asks for the least headwind in which a take-off may go.
type WindQuestion struct {
	// Firing is held at every wind, unless Replanned. Replanned, the units are
	// fired at the nominal best of each wind, and Firing gives only the reaction
	// on the brakes.
	Firing    Firing
	Replanned bool
	// Demand is what a take-off is held against. Its wind and the limits on it
	// are not looked at: they bound the wind by themselves.
	Demand Demand
	// GreatestMPS is up to where winds matter, 0 for 45 m/s: a deck's ceiling.
	GreatestMPS float64
	// Choose, where given, chooses the firing at the wind of the runner, in place
	// of the nominal best.
	Choose func(*Runner) Firing
	// Also, where given, is asked last whether a take-off that nothing else holds
	// may go: an outcome that holds it, else [GetsOff].
	Also func(*Runner, Firing) Outcome
}

// top is up to where winds are looked at.
func (q *WindQuestion) top() float64 {
	if q.GreatestMPS > 0 && q.GreatestMPS < GreatestHeadwindMPS {
		return q.GreatestMPS
	}
	return GreatestHeadwindMPS
}

// A WindLimit is the least credited headwind in which a take-off may go: it
// lifts off with the required run inside the run available, climbs, and every
// single failure is covered, all with the firing of that very wind.
type WindLimit struct {
	Outcome     LimitOutcome
	HeadwindMPS float64 // the limit when found, else the end of the range nearest to it
	At          Choice  // firing and roll there
	// Binds is what keeps the aircraft on the deck in a step less of wind, or in
	// any wind where the limit is never met; [GetsOff] where nothing does.
	Binds Outcome
	// MostMPS is where the winds that do end again, +Inf where they go on to the
	// greatest looked at. In much wind an aircraft may be off before its units
	// light, or its brakes no longer hold. MostBinds is what holds it beyond.
	MostMPS   float64
	MostBinds Outcome
}

// A WindSearch finds the least headwinds of one load after another. Each search
// begins from what the last one found, which changes how long it takes and not
// what it finds. It is for one goroutine.
type WindSearch struct {
	question WindQuestion
	runner   Runner
	schedule booster.Schedule
	failures failureScratch
	hint     windHint
}

// A windHint is where the last limit was found.
type windHint struct {
	known    bool
	headwind float64
	delay    float64 // of the best rolling firing there
	slope    float64 // metres of required run that a metre a second saves
}

// NewWindSearch prepares a search. The error, if any, is a violation.List.
func NewWindSearch(s Setting, q WindQuestion) (*WindSearch, error) {
	w := &WindSearch{question: q}
	return w, w.Reset(s)
}

// Reset takes another setting, its headwind aside, to the same question.
func (w *WindSearch) Reset(s Setting) error { return w.runner.Reset(s) }

// SetAvailable changes the run available and nothing else.
func (w *WindSearch) SetAvailable(availableM float64) { w.question.Demand.AvailableM = availableM }

// SetGrossMass changes the mass without units and nothing else.
func (w *WindSearch) SetGrossMass(massKG float64) { w.runner.SetGrossMass(massKG) }

// Forget makes the next search begin anew, where the next load is nothing like
// the last.
func (w *WindSearch) Forget() { w.hint = windHint{} }

// Limit finds the least headwind, from -10 to 45 m/s.
//
// The run falls as the wind grows, so the least wind for the run alone is a
// root. Where something else keeps the aircraft on the deck there, the search
// goes on upwards from it. The winds above the limit are looked through for one
// in which the aircraft is held again, every 2.5 m/s.
func (w *WindSearch) Limit() WindLimit {
	if w.sinkCounts() {
		return w.byHalves(LeastHeadwindMPS)
	}
	if w.question.Choose != nil && w.question.Replanned && len(w.runner.setting.Units) > 0 {
		// No firing needs less wind for the run than the nominal best.
		quick := *w
		quick.question.Choose = nil
		found := quick.leastForRun()
		if found.Outcome == NeverFits {
			return found
		}
		return w.byHalves(found.HeadwindMPS)
	}
	found := w.leastForRun()
	if found.Outcome == NeverFits {
		return found
	}
	return w.window(found)
}

// planned is the choice of firing at a wind, exactly as a single take-off makes
// it.
func (w *WindSearch) planned(headwindMPS float64) Choice {
	r, s := &w.runner, &w.schedule
	r.SetHeadwind(headwindMPS)
	units := r.setting.Units
	switch {
	case len(units) == 0:
		return r.choose(s, units, Firing{Mode: Unlit})
	case !w.question.Replanned:
		return r.choose(s, units, w.question.Firing)
	}
	if w.question.Choose != nil {
		return r.choose(s, units, w.question.Choose(r))
	}
	return r.BestFiring(s, units, FiringSearch{Measure: ByRun, Brakes: true, ReactionS: w.question.Firing.ReactionS}).Allowed()
}

// spare is the run available less the required run, -Inf without lift-off.
func (w *WindSearch) spare(c Choice) float64 {
	return w.question.Demand.AvailableM - float64(w.question.Demand.Policy.RunFactor*ByRun.Of(c.Roll))
}

// leastForRun finds the least wind whose required run fits, and leaves the
// schedule of its firing built.
func (w *WindSearch) leastForRun() WindLimit {
	x, ok := w.fromHint()
	if !ok {
		low, high := w.nearby(LeastHeadwindMPS), w.nearby(GreatestHeadwindMPS)
		switch {
		case w.spare(low) >= 0:
			if c := w.planned(LeastHeadwindMPS); w.spare(c) >= 0 {
				return WindLimit{Outcome: AlwaysFits, HeadwindMPS: LeastHeadwindMPS, At: c, Binds: GetsOff}
			}
		case !(w.spare(high) >= 0):
			if c := w.planned(GreatestHeadwindMPS); !(w.spare(c) >= 0) {
				return WindLimit{Outcome: NeverFits, HeadwindMPS: GreatestHeadwindMPS, At: c, Binds: w.judge(c)}
			}
		}
		x = w.fromNothing(low, high)
	}
	return w.settle(x)
}

// settle walks from an estimate to the least step of wind that fits, by the full
// search for the firing.
func (w *WindSearch) settle(x float64) WindLimit {
	const least, greatest = int(LeastHeadwindMPS / WindStepMPS), int(GreatestHeadwindMPS / WindStepMPS)
	fails, fits := least-1, greatest+1 // steps known not to fit and to fit
	var at Choice
	step := min(max(int(math.Ceil(x/WindStepMPS)), least), greatest)
	for tries := 0; ; tries++ {
		c := w.planned(float64(step) * WindStepMPS)
		spare := w.spare(c)
		saves := max(w.hint.slope, 1e-3) * WindStepMPS // what one step saves
		if spare >= 0 {
			fits, at = step, c
			// Far from the edge of a step there is no doubt about the one before.
			if spare < 0.9*saves && fits > least {
				break
			}
		} else {
			fails = step
		}
		if fits-fails <= 1 {
			break
		}
		jump := 1
		if far := math.Abs(spare) / saves; far > 1 {
			jump = int(min(math.Ceil(far), 1e8))
		}
		switch {
		case tries >= 8 || math.IsInf(spare, 0):
			step = fails + (fits-fails)/2
		case spare >= 0:
			step = max(fits-jump, fails+1)
		default:
			step = min(fails+jump, fits-1)
		}
		if math.Abs(spare) > 1e-3 && !math.IsInf(spare, 0) && tries < 8 && w.question.Replanned {
			// The full search found a better firing than the one followed so far.
			w.follow(c, float64(step)*WindStepMPS)
			if y, ok := w.fromHint(); ok {
				if at := int(math.Ceil(y / WindStepMPS)); at > fails && at < fits {
					step = at
				}
			}
		}
	}
	switch {
	case fits > greatest:
		c := w.planned(GreatestHeadwindMPS)
		return WindLimit{Outcome: NeverFits, HeadwindMPS: GreatestHeadwindMPS, At: c, Binds: w.judge(c)}
	case fits <= least:
		return WindLimit{Outcome: AlwaysFits, HeadwindMPS: LeastHeadwindMPS, At: at, Binds: GetsOff}
	}
	x = float64(fits) * WindStepMPS
	w.hint.headwind = x
	if at.Firing.Mode == Rolling {
		w.hint.delay = at.Firing.DelayS
	}
	binds := RunTooLong
	if !at.Roll.LiftsOff {
		binds = NeverGetsOff
	}
	w.runner.SetHeadwind(x)
	at.Firing.Schedule(&w.schedule, w.runner.setting.Units)
	return WindLimit{Outcome: LimitFound, HeadwindMPS: x, At: at, Binds: binds}
}

// follow takes a firing of the full search as the one to follow.
func (w *WindSearch) follow(c Choice, headwindMPS float64) {
	w.hint.known, w.hint.headwind = true, headwindMPS
	if c.Firing.Mode == Rolling {
		w.hint.delay = c.Firing.DelayS
	}
}
