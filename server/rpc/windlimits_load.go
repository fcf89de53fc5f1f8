package rpc

import (
	"context"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/takeoff"
	"bowroll/perf/wind"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// A windLoad is a load made ready for the search of its wind limit.
type windLoad struct {
	res    *resolved
	count  int32
	plan   bowrollv1.FiringPlan
	ownMPS float64 // the ship's own headwind along the axis
	search *takeoff.WindSearch
	// slow tells that each wind takes a sample of its own.
	slow bool
	err  error // of a sample, found while searching
}

// find searches the limit.
func (l *windLoad) find() (takeoff.WindLimit, error) {
	limit := l.search.Limit()
	return limit, l.err
}

// ask adds to a question what is answered by sampling: a firing planned on the
// percentile at each wind, and the probability that the policy asks for.
func (l *windLoad) ask(ctx context.Context, s *sampler, q *takeoff.WindQuestion) {
	res := l.res
	percentile := l.plan == bowrollv1.FiringPlan_FIRING_PLAN_PERCENTILE || l.plan == bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED && res.Planned
	if percentile && len(res.Setting.Units) > 0 {
		l.slow = true
		search := res.search()
		search.Brief = true
		q.Choose = func(runner *takeoff.Runner) takeoff.Firing {
			planned, err := s.planFiring(ctx, res, runner, search, s.plan)
			if err != nil {
				l.err = err
				return takeoff.Firing{Mode: takeoff.Unlit}
			}
			return planned.Firing
		}
	}
	if res.Policy.GetLeastProbability() <= 0 {
		return
	}
	l.slow = true
	q.Also = func(runner *takeoff.Runner, firing takeoff.Firing) takeoff.Outcome {
		a := &takeoff.Assessment{Firing: firing}
		if _, err := (&run{res: res, runner: runner}).judgeChance(ctx, s, a, false); err != nil {
			l.err = err
		}
		if len(a.Verdict) > 0 {
			return takeoff.ProbabilityTooLow
		}
		return takeoff.GetsOff
	}
}

// windless is the case with a wind in it, for a question that asks for winds: a
// case need not give one there.
func windless(c *bowrollv1.TakeoffCase) *bowrollv1.TakeoffCase {
	if c == nil || c.HeadwindMps != nil || c.NaturalWind != nil || c.DeckWind != nil {
		return c
	}
	c = proto.CloneOf(c)
	c.HeadwindMps = proto.Float64(0)
	return c
}

// windLoad resolves a case for the search of its wind limit.
func (r resolver) windLoad(ctx context.Context, prefix string, c *bowrollv1.TakeoffCase, plan bowrollv1.FiringPlan) (*windLoad, []*bowrollv1.Violation, error) {
	res, faults, err := r.resolve(prefix, windless(c))
	if err != nil || len(faults) > 0 {
		return nil, faults, err
	}
	load := &windLoad{res: res, plan: plan, count: int32(len(res.Setting.Units))}
	fixed := plan == bowrollv1.FiringPlan_FIRING_PLAN_FIXED
	if fixed && (res.Best || res.Planned) && c.HeadwindMps == nil && c.NaturalWind == nil && c.DeckWind == nil {
		return nil, []*bowrollv1.Violation{{
			Field: prefix + ".boosters.firing.mode", Value: c.GetBoosters().GetFiring().GetMode().String(), Rule: "goes-with",
			Allowed: "a mode that says when, or a wind that the best is of",
			Hint:    "a firing that is held must be known: give the wind of the case, or ask for FIRING_PLAN_REPLANNED",
		}}, nil
	}
	question := res.windQuestion(plan)
	if fixed && (res.Best || res.Planned) && len(res.Setting.Units) > 0 {
		// The best, or the one planned, at the wind of the case, then held.
		runner, err := takeoff.NewRunner(res.Setting)
		if err != nil {
			return nil, refusal.FromModel(prefix, err), nil
		}
		if res.Planned {
			planned, err := r.sampler.planFiring(ctx, res, runner, res.search(), r.sampler.plan)
			if err != nil {
				return nil, nil, err
			}
			question.Firing = planned.Firing
		} else {
			var schedule booster.Schedule
			question.Firing = runner.Assess(&schedule, takeoff.Plan{Firing: res.Firing, Search: true}, demand(res)).Firing
		}
	}
	load.ask(ctx, r.sampler, &question)
	if load.search, err = takeoff.NewWindSearch(res.Setting, question); err != nil {
		return nil, refusal.FromModel(prefix, err), nil
	}
	if ship := res.Case.GetShip(); ship != nil {
		offset := 0.0
		if deck, ok := r.catalog.Deck(res.Case.GetDeck()); ok {
			offset = deck.GetAxisOffsetDeg()
		} else if axis := res.Case.AxisHeadingDeg; axis != nil {
			offset = *axis - ship.GetCourseDeg()
		}
		load.ownMPS = ship.GetSpeedMps() * elementary.Cos(offset*math.Pi/180)
	}
	return load, nil, nil
}

// windQuestion asks for the least headwind of a resolved load.
func (res *resolved) windQuestion(plan bowrollv1.FiringPlan) takeoff.WindQuestion {
	q := takeoff.WindQuestion{
		Firing:    res.Firing,
		Replanned: plan != bowrollv1.FiringPlan_FIRING_PLAN_FIXED,
		Demand:    demand(res),
	}
	if res.Limits.CeilingMPS != nil {
		q.GreatestMPS = *res.Limits.CeilingMPS
	}
	return q
}

// bounds are the winds over deck that a load may go in.
func (l *windLoad) bounds(limit takeoff.WindLimit) wind.Limits {
	bounds := wind.Limits{
		GreatestCrosswindMPS: l.res.Limits.CrosswindMPS,
		GreatestTailwindMPS:  l.res.Limits.TailwindMPS,
		CeilingMPS:           l.res.Limits.CeilingMPS,
		GreatestHeadwindMPS:  finite(limit.MostMPS),
	}
	if limit.Outcome == takeoff.LimitFound {
		bounds.LeastHeadwindMPS = &limit.HeadwindMPS
	}
	return bounds
}

// overCeiling tells that the deck allows no wind that would be enough.
func (l *windLoad) overCeiling(limit takeoff.WindLimit) bool {
	ceiling := l.res.Limits.CeilingMPS
	return ceiling != nil && limit.Outcome == takeoff.LimitFound && limit.HeadwindMPS > *ceiling
}

// heldBy says in words what keeps an aircraft on the deck.
func heldBy(o takeoff.Outcome) string {
	switch o {
	case takeoff.NeverGetsOff:
		return "it never reaches lift-off speed"
	case takeoff.RunTooLong:
		return "the required run is longer than the run available"
	case takeoff.CannotClimb:
		return "it does not climb on its engines as the policy asks"
	case takeoff.SinksBack:
		return "it sinks back after lift-off"
	case takeoff.SinkExceeded:
		return "it sinks more off the bow than is permitted"
	case takeoff.NeverFires:
		return "it is off before its units light"
	case takeoff.NoLegCovers:
		return "a single failure has no way out that the policy accepts"
	case takeoff.ProbabilityTooLow:
		return "lift-off inside the run is less likely than the policy asks"
	case takeoff.ControlSpeedNotReached:
		return "rudder and fin do not hold the moment of its units"
	}
	return o.String()
}

// sentence says a limit with its numbers.
func (l *windLoad) sentence(limit takeoff.WindLimit) string {
	var text string
	switch limit.Outcome {
	case takeoff.NeverFits:
		return fmt.Sprintf("No headwind up to %.0f m/s does: %s.", takeoff.GreatestHeadwindMPS, heldBy(limit.Binds))
	case takeoff.AlwaysFits:
		text = fmt.Sprintf("Any headwind from %.0f m/s does.", takeoff.LeastHeadwindMPS)
	default:
		text = fmt.Sprintf("At least %.2f m/s of credited headwind: in less, %s.", limit.HeadwindMPS, heldBy(limit.Binds))
	}
	if l.overCeiling(limit) {
		text += fmt.Sprintf(" The deck allows no more than %.2f m/s over it.", *l.res.Limits.CeilingMPS)
	}
	if !math.IsInf(limit.MostMPS, 1) {
		text += fmt.Sprintf(" At most %.2f m/s: in more, %s.", limit.MostMPS, heldBy(limit.MostBinds))
	}
	return text
}

// cautions says what the numbers of a limit give cause to say.
func (l *windLoad) cautions(limit takeoff.WindLimit) []*bowrollv1.Caution {
	var list []*bowrollv1.Caution
	add := func(severity bowrollv1.Severity, id, text string, args ...any) {
		list = append(list, &bowrollv1.Caution{Id: id, Severity: severity, Text: fmt.Sprintf(text, args...)})
	}
	units := len(l.res.Setting.Units)
	(&run{res: l.res}).unitCautions(nil, add)
	if _, missing := takeoff.Failures(l.res.Setting.Units); len(missing) > 0 && units > 0 {
		add(bowrollv1.Severity_SEVERITY_CAUTION, "failures-not-all-judged",
			"The booster type does not state %s: those failures are not judged.", missing)
	}
	if !l.res.HasBrakes && units > 0 {
		add(bowrollv1.Severity_SEVERITY_CAUTION, "no-brake-data", "No braking friction is stated: no stop leg is relied on.")
	}
	if l.overCeiling(limit) {
		add(bowrollv1.Severity_SEVERITY_CAUTION, "over-ceiling",
			"With %s the least headwind is above the deck's ceiling: no wind that may be launched in is enough.", countOfUnits(units))
	}
	if limit.Outcome == takeoff.LimitFound && limit.HeadwindMPS < 0 {
		add(bowrollv1.Severity_SEVERITY_CAUTION, "tailwind", "With %s a tailwind is enough by the run alone: the tailwind limits bind first.", countOfUnits(units))
	}
	if c := credit(l.res.Policy); c != wind.FullCredit() && l.res.Case.GetShip() == nil && l.res.Case.GetDeck() != "" {
		add(bowrollv1.Severity_SEVERITY_NOTE, "wind-taken-as-natural",
			"The policy credits part of the natural wind and no ship's speed is given: all of the wind over deck is taken as natural.")
	}
	if units > 0 && l.plan == bowrollv1.FiringPlan_FIRING_PLAN_REPLANNED && !l.res.Planned && limit.At.Firing.Mode == takeoff.Rolling && limit.Outcome != takeoff.NeverFits {
		add(bowrollv1.Severity_SEVERITY_NOTE, "firing-is-a-cliff",
			"Least headwinds hold for units fired at the nominal best of that very wind; commanded a little early the run is far longer.")
	}
	return list
}

func countOfUnits(n int) string {
	switch n {
	case 0:
		return "no units"
	case 1:
		return "1 unit"
	}
	return fmt.Sprintf("%d units", n)
}

// appendCautions adds the cautions that are not in the list yet, and keeps the
// most serious first.
func appendCautions(list, more []*bowrollv1.Caution) []*bowrollv1.Caution {
next:
	for _, c := range more {
		for _, known := range list {
			if known.GetId() == c.GetId() && known.GetText() == c.GetText() {
				continue next
			}
		}
		at := len(list)
		for at > 0 && list[at-1].GetSeverity() < c.GetSeverity() {
			at--
		}
		list = append(list[:at], append([]*bowrollv1.Caution{c}, list[at:]...)...)
	}
	return list
}
