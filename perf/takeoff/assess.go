package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// A Demand is what a take-off is held against: the run, what stands at its end,
// the wind and the limits on it, and the policy.
type Demand struct {
	AvailableM  float64
	ScreenM     float64  // height to clear, 0 for a clear bow
	EdgeHeightM *float64 // of the deck edge above the water; nil: no edge to leave

	CrosswindMPS      float64 // either side
	TailwindMPS       float64 // 0 without one
	WindOverDeckMPS   float64 // 0 where only components are known
	CrosswindLimitMPS *float64
	TailwindLimitMPS  *float64
	CeilingMPS        *float64

	Policy         Policy
	MarginalM      float64 // margin below which a launch is marginal
	LeastSaving    float64 // of the run, below which units are not worth fitting
	PermittedSinkM float64 // off the bow
	LeastGradient  float64 // of climb on the engines
}

// A Plan says how the units are to be fired and how much is asked about it.
type Plan struct {
	Firing Firing
	// Search finds the nominal best firing and uses it instead of Firing.
	Search bool
	// Beside keeps the best firing and the house rules in the answer although
	// Firing is used.
	Beside bool
	// Failures asks for the legs of every failure.
	Failures bool
	// Bare is the same aircraft without units, for what they save; nil: not asked.
	Bare *Runner
}

// An Assessment is one take-off answered.
type Assessment struct {
	GrossMassKG float64 // without units, as computed with
	Firing      Firing
	Roll        Roll
	RequiredM   float64 // +Inf where it never lifts off
	MarginM     float64 // -Inf where it never lifts off
	AirDistance *AirDistance
	Climb       *Climb
	OffBow      *Sink
	Edge        State // where the wheels leave the deck, with OffBow
	Best        *BestFiring
	Legs        *Legs
	HoldMarginN *float64 // by how much the brakes hold, fired on them
	Bare        *Roll    // without units
	Unlit       *Roll    // units fitted and never lit
	Asymmetry   *Asymmetry
	Verdict     Verdict
}

// HouseRules are the rules of thumb that a best firing is compared with: at
// brake release, and two seconds into the roll.
func HouseRules() []Firing {
	return []Firing{{Mode: Rolling, DelayS: 0}, {Mode: Rolling, DelayS: 2}}
}

// Assess answers one take-off of the units in the runner's setting. The schedule
// is scratch memory and holds the firing used on return.
func (r *Runner) Assess(s *booster.Schedule, plan Plan, d Demand) Assessment {
	units := r.setting.Units
	a := Assessment{GrossMassKG: r.grossMass, Firing: plan.Firing}
	if len(units) > 0 && (plan.Search || plan.Beside) {
		best := r.BestFiring(s, units, FiringSearch{
			Measure: ByRun, Brakes: true, ReactionS: plan.Firing.ReactionS, House: HouseRules(),
		})
		a.Best = &best
		if plan.Search {
			a.Firing = best.Firing
			// Brakes that do not hold are no way to fire, however short the run.
			if a.Firing.Mode == OnBrakes && best.HoldMarginN < 0 {
				a.Firing = best.Rolling.Firing
			}
		}
	}
	if len(units) == 0 {
		a.Firing = Firing{Mode: Unlit}
	}
	if plan.Failures && len(units) > 0 {
		legs := r.Legs(s, units, a.Firing, d.Policy, d.AvailableM)
		a.Legs = &legs
	}
	a.Firing.Schedule(s, units)
	a.Roll = r.Roll(s)
	r.lengths(&a, s, d)
	if a.Firing.Mode == OnBrakes {
		margin := r.BrakesHold(s, a.Firing)
		a.HoldMarginN = &margin
	}
	if len(units) > 0 && a.Firing.Mode != Unlit {
		uneven := r.Asymmetry(s)
		a.Asymmetry = &uneven
	}
	if plan.Bare != nil && len(units) > 0 {
		r.worth(&a, plan.Bare)
	}
	a.Verdict = r.verdict(&a, s, d)
	return a
}

// lengths works out run, air distance, climb and the flight off the edge.
func (r *Runner) lengths(a *Assessment, s *booster.Schedule, d Demand) {
	a.RequiredM, a.MarginM = math.Inf(1), math.Inf(-1)
	if a.Roll.LiftsOff {
		a.RequiredM = float64(a.Roll.RunM * d.Policy.RunFactor)
		a.MarginM = d.AvailableM - a.RequiredM
		climb := r.Climb(s, a.Roll)
		a.Climb = &climb
		if d.ScreenM > 0 {
			way := r.AirDistance(s, a.Roll, d.ScreenM)
			a.AirDistance = &way
		}
	}
	// Rolling off the edge is a question only where the deck ends before the run
	// does, and there is water below.
	if d.EdgeHeightM != nil && !(a.Roll.LiftsOff && a.Roll.RunM <= d.AvailableM) {
		if edge, ok := r.RollTo(s, d.AvailableM); ok {
			sink := r.OffBow(s, edge, *d.EdgeHeightM)
			a.OffBow, a.Edge = &sink, edge
		}
	}
}

// worth works out the runs that tell what the units are good for.
func (r *Runner) worth(a *Assessment, bare *Runner) {
	var silent booster.Schedule
	silent.Carry(nil)
	without := bare.Roll(&silent)
	silent.Carry(r.setting.Units)
	unlit := r.Roll(&silent)
	a.Bare, a.Unlit = &without, &unlit
}

// verdict lists what the numbers say.
func (r *Runner) verdict(a *Assessment, s *booster.Schedule, d Demand) Verdict {
	var v Verdict
	r.judgeRun(&v, a, d)
	r.judgeFlight(&v, a, d)
	judgeWind(&v, d)
	if a.Legs != nil {
		judgeLegs(&v, a, d)
	}
	if a.Firing.Mode != Unlit && a.Roll.LiftsOff && s.FirstThrustS() >= a.Roll.TimeS {
		v.over(NeverFires, "first_thrust_s", s.FirstThrustS(), a.Roll.TimeS)
	}
	if a.Asymmetry != nil && a.Asymmetry.HasControl && !a.Asymmetry.Controlled {
		v.over(ControlSpeedNotReached, "control_airspeed_mps",
			max(a.Asymmetry.BurnControlMPS, a.Asymmetry.TailControlMPS),
			min(positive(a.Asymmetry.BurnAirspeedMPS), positive(a.Asymmetry.TailAirspeedMPS)))
	}
	if a.Legs != nil && d.Policy.Legs != LegNeither {
		for _, name := range a.Legs.Missing {
			v.add(Finding{Outcome: DataMissing, Quantity: name, Note: name})
		}
	}
	if a.Bare != nil && a.Bare.LiftsOff && a.Roll.LiftsOff && a.Bare.RunM > 0 {
		if saving := 1 - a.Roll.RunM/a.Bare.RunM; saving < d.LeastSaving {
			v.add(Finding{Outcome: NotWorthFitting, Quantity: "saving", Value: saving, Limit: d.LeastSaving, HasValue: true, HasLimit: true})
		}
	}
	return v.sorted()
}

// positive is v, or infinity where the speed was not worked out.
func positive(v float64) float64 {
	if v > 0 {
		return v
	}
	return math.Inf(1)
}

func (r *Runner) judgeRun(v *Verdict, a *Assessment, d Demand) {
	sinkPermitted := a.OffBow != nil && a.OffBow.Recovers && d.PermittedSinkM > 0 && a.OffBow.SinkM <= d.PermittedSinkM
	// Off before the edge without the margin asked for, it sinks less still.
	noSink := d.PermittedSinkM > 0 && d.EdgeHeightM != nil && a.Roll.LiftsOff && a.Roll.RunM <= d.AvailableM && a.MarginM < 0
	switch {
	case noSink:
		v.add(Finding{Outcome: Marginal, Quantity: "sink_m", Value: 0, Limit: d.PermittedSinkM, HasValue: true, HasLimit: true})
	case sinkPermitted:
		v.add(Finding{Outcome: Marginal, Quantity: "sink_m", Value: a.OffBow.SinkM, Limit: d.PermittedSinkM, HasValue: true, HasLimit: true})
	case !a.Roll.LiftsOff:
		v.add(Finding{
			Outcome: NeverGetsOff, Quantity: "steady_airspeed_mps", Value: a.Roll.SteadyAirspeedMPS,
			Limit: a.Roll.LiftoffAirspeedMPS, HasValue: !math.IsInf(a.Roll.SteadyAirspeedMPS, 0), HasLimit: true,
			Note: a.Roll.Reason.String(),
		})
	case a.MarginM < 0:
		v.over(RunTooLong, "required_run_m", a.RequiredM, d.AvailableM)
	case a.MarginM < d.MarginalM:
		v.add(Finding{Outcome: Marginal, Quantity: "margin_m", Value: a.MarginM, Limit: d.MarginalM, HasValue: true, HasLimit: true})
	default:
		v.over(GetsOff, "required_run_m", a.RequiredM, d.AvailableM)
	}
	// A permitted sink is the only case in which a sink settles anything: without
	// one the run has been judged too long already.
	if a.OffBow != nil && d.PermittedSinkM > 0 && !sinkPermitted {
		v.over(SinkExceeded, "sink_m", a.OffBow.SinkM, d.PermittedSinkM)
	}
}

func (r *Runner) judgeFlight(v *Verdict, a *Assessment, d Demand) {
	if a.Climb != nil {
		if a.Climb.GradientUnlit <= 0 || a.Climb.GradientUnlit < d.LeastGradient {
			v.add(Finding{Outcome: CannotClimb, Quantity: "gradient_without_boosters", Value: a.Climb.GradientUnlit,
				Limit: d.LeastGradient, HasValue: true, HasLimit: true})
		}
		if a.Climb.BurnoutInRotation {
			v.over(BurnOutInRotation, "burn_end_minus_liftoff_s", -a.Climb.LiftoffAfterBurnoutS, max(r.rotationS, 1))
		}
	}
	if a.AirDistance != nil && !a.AirDistance.Reached {
		v.add(Finding{Outcome: SinksBack, Quantity: "screen_m", Limit: d.ScreenM, HasLimit: true})
	}
}

func judgeWind(v *Verdict, d Demand) {
	if d.CrosswindLimitMPS != nil && math.Abs(d.CrosswindMPS) > *d.CrosswindLimitMPS {
		v.over(CrosswindExceeded, "crosswind_mps", math.Abs(d.CrosswindMPS), *d.CrosswindLimitMPS)
	}
	if d.TailwindLimitMPS != nil && d.TailwindMPS > *d.TailwindLimitMPS {
		v.over(TailwindExceeded, "tailwind_mps", d.TailwindMPS, *d.TailwindLimitMPS)
	}
	if d.CeilingMPS != nil && d.WindOverDeckMPS > *d.CeilingMPS {
		v.over(DeckCeilingExceeded, "wind_over_deck_mps", d.WindOverDeckMPS, *d.CeilingMPS)
	}
}

func judgeLegs(v *Verdict, a *Assessment, d Demand) {
	if a.Legs.Covered {
		return
	}
	for i := range a.Legs.Legs {
		leg := &a.Legs.Legs[i]
		if leg.Accepted || !leg.Failure.Single() {
			continue
		}
		f := Finding{Outcome: NoLegCovers, Quantity: "run_m", Limit: d.AvailableM, HasLimit: true, Note: leg.Failure.String()}
		if !math.IsInf(leg.ShortM, 1) {
			f.Value, f.HasValue = d.AvailableM+leg.ShortM, true
		}
		v.add(f)
	}
}
