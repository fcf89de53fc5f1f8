package rpc

import (
	"fmt"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// The functions here answer what surrounds one take-off: single changes, commit
// points, the check at a mark, friction.

// sensitivities says what single changes buy.
func (r *run) sensitivities(a *takeoff.Assessment) []*bowrollv1.Sensitivity {
	res := r.res
	search := takeoff.FiringSearch{Measure: takeoff.ByRun, Brakes: true, ReactionS: res.Firing.ReactionS}
	fewer, more := r.otherFits()
	list := r.runner.Sensitivities(&r.schedule, takeoff.SensitivityQuestion{
		Units: res.Setting.Units, Firing: a.Firing, Search: search, AvailableM: res.Available, Fewer: fewer, More: more,
	})
	best := a.Roll
	if len(res.Setting.Units) > 0 {
		best = r.runner.BestFiring(&r.schedule, res.Setting.Units, search).Allowed().Roll
	}
	factor := res.Policy.GetRunFactor()
	required := func(roll takeoff.Roll) float64 { return float64(factor * takeoff.ByRun.Of(roll)) }
	out := make([]*bowrollv1.Sensitivity, 0, len(list))
	for i := range list {
		s := &list[i]
		fixed := required(s.Fixed)
		m := &bowrollv1.Sensitivity{
			Quantity: s.Quantity, Change: s.Change, Text: changeText(s.Quantity, s.Change),
			FixedRequiredRunM: finite(fixed), FixedChangeM: finite(fixed - required(a.Roll)), FixedMarginM: finite(s.AvailableM - fixed),
		}
		if s.HasReplanned {
			anew := required(s.Replanned.Roll)
			m.ReplannedRequiredRunM, m.ReplannedChangeM = finite(anew), finite(anew-required(best))
			m.ReplannedMarginM = finite(s.AvailableM - anew)
			if s.Replanned.Firing.Mode == takeoff.Rolling {
				m.ReplannedDelayS = proto.Float64(s.Replanned.Firing.DelayS)
			}
		}
		out = append(out, m)
	}
	return out
}

// otherFits are the next smaller and the next larger fit of the same units; nil
// where there is none.
func (r *run) otherFits() (fewer, more []booster.Unit) {
	units := r.res.Setting.Units
	if len(units) == 0 {
		return nil, nil
	}
	counts := []int{0}
	for _, l := range r.res.Case.GetAircraft().GetLoadings() {
		counts = append(counts, int(l.GetUnitCount()))
	}
	if len(r.res.Case.GetAircraft().GetStations()) == 0 {
		counts = append(counts, len(units)-1, len(units)+1)
	}
	slices.Sort(counts)
	fit := func(count int) []booster.Unit {
		if count == 0 {
			return []booster.Unit{}
		}
		return fitUnits(nil, units[0].Type, stationsFor(nil, r.res, count, &faults{}), units[0].GrainTemperatureC)
	}
	for _, count := range counts {
		if count < len(units) {
			fewer = fit(count)
		}
		if count > len(units) && more == nil {
			more = fit(count)
		}
	}
	return fewer, more
}

// changeText says a change in words, in the units that people fly in.
func changeText(quantity string, change float64) string {
	direction := "more"
	if change < 0 {
		direction = "less"
	}
	size := math.Abs(change)
	switch quantity {
	case "headwind_mps":
		return fmt.Sprintf("%.0f kt %s headwind", size*3600/1852, direction)
	case "gross_mass_kg":
		return fmt.Sprintf("%.0f kg %s mass", size, direction)
	case "temperature_c":
		if change < 0 {
			return fmt.Sprintf("%.0f degrees colder", size)
		}
		return fmt.Sprintf("%.0f degrees warmer", size)
	case "available_m":
		return fmt.Sprintf("%.0f m %s run available", size, direction)
	case "delay_s", "reaction_s":
		what := "firing"
		if quantity == "reaction_s" {
			what = "release"
		}
		if change < 0 {
			return fmt.Sprintf("%s %.2g s earlier", what, size)
		}
		return fmt.Sprintf("%s %.2g s later", what, size)
	}
	if change < 0 {
		direction = "fewer"
	}
	return fmt.Sprintf("%.0f units %s", size, direction)
}

// commit answers the last moments from which a stop fits.
func (r *run) commit(a *takeoff.Assessment) *bowrollv1.CommitPoints {
	if !r.res.HasBrakes {
		return nil
	}
	policy, units := modelPolicy(r.res.Policy), r.res.Setting.Units
	a.Firing.Schedule(&r.schedule, units)
	due := r.schedule.FirstThrustS() + policy.RecognitionS
	lit := r.runner.Commit(&r.schedule, a.Firing.CommandS(units), units, policy, r.res.Available)
	out := &bowrollv1.CommitPoints{Lit: commitAnswer(lit)}
	if len(units) == 0 {
		return out
	}
	if a.Firing.Mode != takeoff.Unlit {
		out.RecognisedInTime = proto.Bool(lit.Exists && due <= lit.At.TimeS)
	}
	r.schedule.Carry(units)
	out.Unlit = commitAnswer(r.runner.Commit(&r.schedule, math.Inf(1), units, policy, r.res.Available))
	return out
}

func commitAnswer(c takeoff.CommitPoint) *bowrollv1.CommitPoint {
	out := &bowrollv1.CommitPoint{Exists: c.Exists, ToLiftoff: c.ToLiftoff}
	if c.Exists {
		out.TimeS = finite(c.At.TimeS)
		out.DistanceM = finite(c.At.DistanceM)
		out.AirspeedMps = finite(c.AirspeedMPS)
		out.StopDistanceM = finite(c.Stop.DistanceM)
	}
	return out
}

// checkLine answers the acceleration check at the mark asked for, or half way to
// lift-off.
func (r *run) checkLine(a *takeoff.Assessment) *bowrollv1.CheckLine {
	units := r.res.Setting.Units
	mark := 0.5 * r.res.Available
	if a.Roll.LiftsOff {
		mark = 0.5 * a.Roll.DistanceM
	}
	if given := r.res.Case.CheckMarkM; given != nil {
		mark = *given
	}
	a.Firing.Schedule(&r.schedule, units)
	check := r.runner.CheckMark(&r.schedule, a.Firing.CommandS(units), units, modelPolicy(r.res.Policy), r.res.Available, mark)
	out := &bowrollv1.CheckLine{MarkM: mark, Reached: check.Reached}
	if !check.Reached {
		return out
	}
	out.TimeS, out.AirspeedMps = finite(check.Expected.TimeS), finite(check.AirspeedMPS)
	if !check.HasBound {
		return out
	}
	out.LatestTimeS, out.ThrustLossFraction = finite(check.Bound.TimeS), finite(check.ThrustLoss)
	if !check.ByTime {
		out.LeastAirspeedMps = finite(check.LeastAirspeedMPS)
	}
	if r.res.HasBrakes {
		out.StopFits = proto.Bool(check.StopFits)
	}
	return out
}

// friction answers where friction holds the aircraft.
func (r *run) friction(bare *takeoff.Runner) *bowrollv1.Friction {
	units := r.res.Setting.Units
	out := &bowrollv1.Friction{
		BareCriticalFriction: finite(bare.CriticalFriction(0, 0)),
		StaticFriction:       r.res.Setting.Surface.RollingFriction,
	}
	if given := r.res.Case.StaticFriction; given != nil {
		out.StaticFriction = *given
	}
	r.schedule.Carry(units)
	if roll := r.runner.Roll(&r.schedule); !roll.LiftsOff {
		out.StuckAirspeedMps = finite(roll.SteadyAirspeedMPS)
	}
	if len(units) > 0 {
		carried := r.schedule.MassKG(0)
		out.UnlitCriticalFriction = finite(r.runner.CriticalFriction(carried, 0))
		out.BurningCriticalFriction = finite(r.runner.CriticalFriction(carried, meanThrustN(units)))
	}
	loose := r.runner.BreakOut(&r.schedule, units, out.StaticFriction)
	out.BreaksLooseAlone = !loose.Holds
	if !loose.Possible {
		return out
	}
	out.BreakOutCount, out.LiftOffCount = proto.Int32(int32(loose.BreakOut)), proto.Int32(int32(loose.LiftOff))
	if loose.LiftOff > 0 {
		out.LiftOffDelayS = finite(loose.DelayS)
	}
	if loose.Roll.LiftsOff {
		out.RunM = finite(loose.Roll.RunM)
	}
	return out
}

// meanThrustN is the forward thrust of units over their burn, those that fire.
func meanThrustN(units []booster.Unit) (forward float64) {
	for i := range units {
		if u := &units[i]; !u.Dud {
			thrust := u.Type.ImpulseNS() / u.Type.BurnTimeS(u.GrainTemperatureC)
			forward += float64(thrust * elementary.Cos(u.Type.CantDeg*math.Pi/180) * elementary.Cos(u.Type.SplayDeg*math.Pi/180))
		}
	}
	return forward
}
