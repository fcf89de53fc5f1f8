package rpc

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

var outcomes = [...]bowrollv1.Outcome{
	takeoff.NeverGetsOff:           bowrollv1.Outcome_OUTCOME_NEVER_GETS_OFF,
	takeoff.CannotClimb:            bowrollv1.Outcome_OUTCOME_CANNOT_CLIMB,
	takeoff.SinksBack:              bowrollv1.Outcome_OUTCOME_SINKS_BACK,
	takeoff.SinkExceeded:           bowrollv1.Outcome_OUTCOME_SINK_EXCEEDED,
	takeoff.RunTooLong:             bowrollv1.Outcome_OUTCOME_RUN_TOO_LONG,
	takeoff.NeverFires:             bowrollv1.Outcome_OUTCOME_NEVER_FIRES,
	takeoff.NoLegCovers:            bowrollv1.Outcome_OUTCOME_NO_LEG_COVERS,
	takeoff.ControlSpeedNotReached: bowrollv1.Outcome_OUTCOME_CONTROL_SPEED_NOT_REACHED,
	takeoff.CrosswindExceeded:      bowrollv1.Outcome_OUTCOME_CROSSWIND_EXCEEDED,
	takeoff.TailwindExceeded:       bowrollv1.Outcome_OUTCOME_TAILWIND_EXCEEDED,
	takeoff.DeckCeilingExceeded:    bowrollv1.Outcome_OUTCOME_DECK_CEILING_EXCEEDED,
	takeoff.ProbabilityTooLow:      bowrollv1.Outcome_OUTCOME_PROBABILITY_TOO_LOW,
	takeoff.DataMissing:            bowrollv1.Outcome_OUTCOME_DATA_MISSING,
	takeoff.BurnOutInRotation:      bowrollv1.Outcome_OUTCOME_BURN_OUT_IN_ROTATION,
	takeoff.NotWorthFitting:        bowrollv1.Outcome_OUTCOME_NOT_WORTH_FITTING,
	takeoff.Marginal:               bowrollv1.Outcome_OUTCOME_MARGINAL,
	takeoff.GetsOff:                bowrollv1.Outcome_OUTCOME_GETS_OFF,
}

func outcome(o takeoff.Outcome) bowrollv1.Outcome { return outcomes[o] }

// findings puts the verdict into the contract's messages.
func (s *slab) findingsAnswer(a *takeoff.Assessment) []*bowrollv1.Finding {
	out := s.findings[:0]
	for i, f := range a.Verdict {
		finding := &s.finding
		if i > 0 {
			finding = new(bowrollv1.Finding)
		}
		finding.Outcome, finding.Quantity, finding.Text = outcome(f.Outcome), f.Quantity, sentence(f, a)
		if f.HasValue {
			finding.Value = s.finite(f.Value)
		}
		if f.HasLimit {
			finding.Limit = s.finite(f.Limit)
		}
		if short := f.Shortfall(); short > 0 {
			finding.Shortfall = s.finite(short)
		}
		out = append(out, finding)
	}
	return out
}

// limiting says in one sentence what settles the case.
func limiting(a *takeoff.Assessment) string {
	f, ok := a.Verdict.Decisive()
	if !ok {
		return ""
	}
	return withLeg(sentence(f, a), f, a)
}

// limitingOf is limiting where the findings are worded already.
func limitingOf(findings []*bowrollv1.Finding, a *takeoff.Assessment) string {
	f, ok := a.Verdict.Decisive()
	if !ok {
		return ""
	}
	decisive := outcome(f.Outcome)
	for _, finding := range findings {
		if finding.GetOutcome() == decisive {
			return withLeg(finding.GetText(), f, a)
		}
	}
	return ""
}

// withLeg adds to a sentence the leg relied on, where the aircraft goes by one.
func withLeg(text string, f takeoff.Finding, a *takeoff.Assessment) string {
	if a.Legs != nil && a.Legs.Limiting >= 0 && (f.Outcome == takeoff.GetsOff || f.Outcome == takeoff.Marginal) {
		leg := &a.Legs.Legs[a.Legs.Limiting]
		if leg.Accepted && leg.ReliedOn != takeoff.LegNeither {
			text = fmt.Sprintf("%s; with %s it relies on the %s leg, %.1f m to spare.",
				strings.TrimSuffix(text, "."), leg.Failure, leg.ReliedOn, leg.SpareM)
		}
	}
	return text
}

// sentence says one finding with its numbers.
func sentence(f takeoff.Finding, a *takeoff.Assessment) string {
	switch f.Outcome {
	case takeoff.GetsOff:
		// Nearly every answer says this, so it is written without a format.
		b := append(make([]byte, 0, 96), "Gets off: required run "...)
		b = append(strconv.AppendFloat(b, f.Value, 'f', 1, 64), " m of "...)
		b = append(strconv.AppendFloat(b, f.Limit, 'f', 1, 64), " m available, "...)
		return string(append(strconv.AppendFloat(b, f.Limit-f.Value, 'f', 1, 64), " m to spare."...))
	case takeoff.Marginal:
		if f.Quantity == "sink_m" {
			return fmt.Sprintf("Leaves the edge below lift-off speed and sinks %.1f m; %.1f m is permitted.", f.Value, f.Limit)
		}
		return fmt.Sprintf("Marginal: required run %.1f m leaves %.1f m; less than %.1f m is called marginal.", a.RequiredM, f.Value, f.Limit)
	case takeoff.RunTooLong:
		return fmt.Sprintf("Run too long: required run %.1f m, %.1f m more than the %.1f m available.", f.Value, f.Shortfall(), f.Limit)
	case takeoff.NeverGetsOff:
		if !f.HasValue {
			return fmt.Sprintf("Never gets off: %s; lift-off needs %.1f m/s.", f.Note, f.Limit)
		}
		return fmt.Sprintf("Never gets off: steady rolling airspeed %.1f m/s, lift-off needs %.1f m/s.", f.Value, f.Limit)
	case takeoff.CannotClimb:
		return fmt.Sprintf("Cannot climb: gradient %.1f %% on the engines, units fitted; it must be positive and at least %.1f %%.", 100*f.Value, 100*f.Limit)
	case takeoff.SinksBack:
		return "Sinks back: loses 5 m after lift-off before it climbs."
	case takeoff.SinkExceeded:
		return fmt.Sprintf("Sinks %.1f m off the bow; %.1f m is permitted.", f.Value, f.Limit)
	case takeoff.NeverFires:
		return fmt.Sprintf("Never fires before lift-off: first thrust at %.1f s, lift-off at %.1f s; the units would light in the climb.", f.Value, f.Limit)
	case takeoff.NoLegCovers:
		if !f.HasValue {
			return fmt.Sprintf("No leg covers %s: no accepted leg exists in any run.", f.Note)
		}
		return fmt.Sprintf("No leg covers %s: the nearest accepted leg needs %.1f m of %.1f m.", f.Note, f.Value, f.Limit)
	case takeoff.ControlSpeedNotReached:
		return fmt.Sprintf("Control speed not reached: rudder and fin hold the moment from %.1f m/s, it acts at %.1f m/s.", f.Value, f.Limit)
	case takeoff.CrosswindExceeded:
		return fmt.Sprintf("Crosswind %.1f m/s, limit %.1f m/s.", f.Value, f.Limit)
	case takeoff.TailwindExceeded:
		return fmt.Sprintf("Tailwind %.1f m/s, limit %.1f m/s.", f.Value, f.Limit)
	case takeoff.DeckCeilingExceeded:
		return fmt.Sprintf("Wind over deck %.1f m/s, ceiling %.1f m/s.", f.Value, f.Limit)
	case takeoff.ProbabilityTooLow:
		return fmt.Sprintf("Probability too low: lift-off inside the run available %.4f, at least %.4f is asked.", f.Value, f.Limit)
	case takeoff.BurnOutInRotation:
		return fmt.Sprintf("Burn-out in rotation: the last unit ends %.2f s %s lift-off; nearer than %.1f s the thrust falls away while the nose comes up.",
			math.Abs(f.Value), beforeOrAfter(f.Value), f.Limit)
	case takeoff.DataMissing:
		if f.Quantity == f.Note {
			return fmt.Sprintf("Data missing: the booster type does not state %s; the failures that need it are not judged.", f.Quantity)
		}
		return fmt.Sprintf("Data missing: the booster type states %s.", f.Note)
	case takeoff.NotWorthFitting:
		return fmt.Sprintf("Not worth fitting: the units save %.1f %% of the run, less than %.1f %%.", 100*f.Value, 100*f.Limit)
	}
	return f.Outcome.String() + "."
}

func beforeOrAfter(v float64) string {
	if v < 0 {
		return "before"
	}
	return "after"
}

// question is what the inverse searches hold.
func (r *run) question(a *takeoff.Assessment) takeoff.LimitQuestion {
	return takeoff.LimitQuestion{
		Units: r.res.Setting.Units, Firing: a.Firing,
		Replanned:  r.res.Best && len(r.res.Setting.Units) > 0,
		Search:     takeoff.FiringSearch{Measure: takeoff.ByRun, Brakes: true, ReactionS: r.res.Firing.ReactionS},
		Factor:     r.res.Policy.GetRunFactor(),
		AvailableM: r.res.Available,
	}
}

// limits finds how far single inputs may go.
func (r *run) limits(a *takeoff.Assessment) *bowrollv1.TakeoffLimits {
	q := r.question(a)
	out := &bowrollv1.TakeoffLimits{
		LeastHeadwindMps: limitAnswer(r.runner.LeastHeadwind(&r.schedule, q)),
		Firing:           "fixed",
	}
	if q.Replanned {
		out.Firing = "replanned"
	}
	if t := r.res.Setting.Aircraft; t.MaxMassKG > 0 && t.EmptyMassKG > 0 {
		out.GreatestMassKg = limitAnswer(r.runner.MostMass(&r.schedule, q))
	}
	if hottest, err := r.runner.HottestAir(&r.schedule, q); err == nil {
		out.HottestAirC = limitAnswer(hottest)
	}
	return out
}

func limitAnswer(l takeoff.Limit) *bowrollv1.Limit {
	switch l.Outcome {
	case takeoff.LimitFound:
		return &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_FOUND, Value: proto.Float64(l.Value)}
	case takeoff.AlwaysFits:
		return &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE}
	}
	return &bowrollv1.Limit{State: bowrollv1.LimitState_LIMIT_STATE_NONE}
}
