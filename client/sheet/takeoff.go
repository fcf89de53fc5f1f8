package sheet

import (
	"fmt"
	"io"
	"strings"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Takeoff draws the answer to one case: whether it gets off and by how much,
// then the run, the firing, what may fail and the limits. about says what the
// case is, e.g. the aircraft type and its units; it may be empty.
func Takeoff(w io.Writer, style Style, about string, off *bowrollv1.Takeoff) error {
	p := newPage(style)
	p.verdict(about, off)
	p.warnings(alone(off.GetCautions()))
	p.run(off)
	p.firing(off)
	p.failures(off.GetFailures(), off.Covered)
	p.limits(off)
	p.box(off)
	p.around(off)
	p.cautions("CAUTIONS", without(alone(off.GetCautions()), bowrollv1.Severity_SEVERITY_WARNING))
	p.provenance(off.GetProvenance())
	return p.write(w)
}

// verdict says what was found, the worst first, and what would clear it.
func (p *page) verdict(about string, off *bowrollv1.Takeoff) {
	p.heading("TAKE-OFF", clean(about))
	result := outcome(off.GetOutcome())
	text := result.text
	if off.MarginM != nil {
		text += fmt.Sprintf(": required run %s of %s available, margin %s", p.givenMeasured(length, off.RequiredRunM),
			p.givenMeasured(length, off.AvailableM), p.givenMeasured(length, off.MarginM))
	}
	p.paragraph(result.tone, upperFirst(text)+".", 0)
	for _, f := range off.GetFindings() {
		if f.GetOutcome() != off.GetOutcome() {
			found := outcome(f.GetOutcome())
			text := "Also: " + found.text
			if f.Value != nil && f.Limit != nil {
				text += fmt.Sprintf(", %s against a limit of %s", p.named(f.GetQuantity(), f.GetValue()), p.named(f.GetQuantity(), f.GetLimit()))
			}
			p.paragraph(found.tone, text+".", 6)
		}
		if text := p.changes(f.GetChanges()); text != "" {
			p.paragraph(toneCare, "Cleared by "+text+".", 2)
		}
	}
	// The service's own sentence speaks SI; in other units its numbers, which
	// are all drawn below, would not match the rest.
	if off.GetLimiting() != "" && p.style.Units == quantity.SI {
		p.labelled(tonePlain, "Limited by", tonePlain, off.GetLimiting(), labelColumns)
	}
}

// run draws the run itself, in the air and wind it was computed in.
func (p *page) run(off *bowrollv1.Takeoff) {
	p.heading("RUN", "")
	if roll := off.GetRoll(); roll != nil {
		text := ""
		if roll.GetLiftsOff() {
			text = fmt.Sprintf("lift-off after %s and %s, at %s over the deck, %s airspeed", given(roll.TimeS, seconds),
				p.givenMeasured(length, roll.DistanceM), p.givenMeasured(speed, roll.GroundSpeedMps), p.givenMeasured(speed, roll.LiftoffAirspeedMps))
		} else {
			text = "no lift-off, " + word(roll.GetEnd())
			if roll.SteadyAirspeedMps != nil {
				text += ": cannot pass " + p.measured(speed, roll.GetSteadyAirspeedMps()) + " airspeed, needs " + p.givenMeasured(speed, roll.LiftoffAirspeedMps)
			}
		}
		p.labelled(tonePlain, "Roll", tonePlain, text, labelColumns)
	}
	if off.RunM != nil {
		p.labelled(tonePlain, "Run", tonePlain, fmt.Sprintf("%s with rotation; required %s, a factor of %s",
			p.measured(length, off.GetRunM()), p.givenMeasured(length, off.RequiredRunM), fixed(off.GetPolicy().GetRunFactor(), 2)), labelColumns)
	}
	if air := off.GetAirDistance(); air != nil && off.TakeoffDistanceM != nil {
		p.labelled(tonePlain, "To screen", tonePlain, p.measured(length, off.GetTakeoffDistanceM())+" take-off distance", labelColumns)
	}
	if bow := off.GetOffBow(); bow != nil {
		text := fmt.Sprintf("leaves the edge at %s, %s of lift-off airspeed", p.measured(speed, bow.GetEdgeAirspeedMps()), percent(bow.GetSpeedRatio()))
		if bow.GetFliesAway() {
			text += ", sinks " + p.givenMeasured(height, bow.SinkM)
		} else {
			text += " and does not fly away before the water"
		}
		if bow.LowestM != nil {
			text += ", lowest " + p.measured(height, bow.GetLowestM()) + " above the water"
		}
		p.labelled(tonePlain, "Off the bow", tonePlain, text, labelColumns)
	}
	if climb := off.GetClimb(); climb != nil {
		text := "gradient " + given(climb.GradientWithoutBoosters, percent)
		if climb.GradientWithBoosters != nil {
			text += " without boosters, " + percent(climb.GetGradientWithBoosters()) + " while they burn"
		}
		p.labelled(tonePlain, "Climb", tonePlain, text, labelColumns)
	}
	p.windOverDeck(off.GetWind(), false)
	p.airState(off.GetAir())
}

// firing draws when the units are fired, and the best firing beside it.
func (p *page) firing(off *bowrollv1.Takeoff) {
	used := off.GetFiring()
	if used == nil {
		return
	}
	p.heading("FIRING", "")
	p.labelled(toneTitle, "Command", toneTitle, p.cue(used), labelColumns)
	if off.GetClimb() != nil && off.Climb.BurnEndMinusLiftoffS != nil {
		end, when := off.GetClimb().GetBurnEndMinusLiftoffS(), "after"
		if end < 0 {
			end, when = -end, "before"
		}
		p.labelled(tonePlain, "Burn ends", tonePlain, seconds(end)+" "+when+" lift-off", labelColumns)
	}
	p.uneven(off.GetAsymmetry())
	p.worth(off.GetWorth())
	best := off.GetBestFiring()
	if best == nil {
		return
	}
	p.gap()
	t := table{columns: []column{
		{head: "Firing", least: 12},
		{head: "Command", right: true},
		{head: "Run", right: true},
		{head: "Required", right: true},
		{head: "Over best", right: true},
		{head: "Burn end to lift-off", right: true, rank: 1},
	}}
	for _, o := range append([]*bowrollv1.FiringOption{best.GetBest()}, best.GetHouseRules()...) {
		if o == nil {
			continue
		}
		t.row(plain(clean(o.GetId()), command(o), p.givenMeasured(length, o.RunM), p.givenMeasured(length, o.RequiredRunM),
			p.givenMeasured(length, o.RunOverBestM), given(o.BurnEndMinusLiftoffS, signedSeconds))...)
	}
	p.table(t)
	var costs []string
	if best.HalfSecondEarlyM != nil {
		costs = append(costs, "half a second early costs "+p.measured(length, best.GetHalfSecondEarlyM()))
	}
	if best.HalfSecondLateM != nil {
		costs = append(costs, "half a second late costs "+p.measured(length, best.GetHalfSecondLateM()))
	}
	if len(costs) > 0 {
		p.paragraph(tonePlain, "From the best, "+strings.Join(costs, ", ")+" of run.", 0)
	}
}

// cue says the moment of firing in the ways that must agree.
func (p *page) cue(used *bowrollv1.FiringUsed) string {
	text := ""
	switch used.GetMode() {
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		return "on the brakes; let go " + given(used.ReactionS, seconds) + " after thrust is felt"
	case bowrollv1.FiringMode_FIRING_MODE_UNLIT:
		return "not at all"
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		text = given(used.DelayS, seconds) + " after brake release"
		if used.GetDelayS() == 0 {
			return "at brake release"
		}
	}
	cue := used.GetCue()
	if cue == nil {
		return text
	}
	if cue.AirspeedMps != nil {
		text += ", at " + p.measured(speed, cue.GetAirspeedMps()) + " airspeed"
	}
	if cue.DistanceM != nil {
		text += ", " + p.measured(length, cue.GetDistanceM()) + " from the spot"
	}
	return text
}

// worth draws what the units save.
func (p *page) worth(w *bowrollv1.Worth) {
	if w == nil {
		return
	}
	text := fmt.Sprintf("run %s with them, %s without", p.givenMeasured(length, w.RunWithUnitsM), p.givenMeasured(length, w.RunWithoutUnitsM))
	if w.Saving != nil {
		text += ", " + percent(w.GetSaving()) + " saved"
	}
	text += "; " + p.givenMeasured(length, w.RunUnlitM) + " if fitted and never lit"
	p.labelled(tonePlain, "Worth", tonePlain, text, labelColumns)
}

// failures draws what may fail and the way out of each. covered says whether every
// single failure has one; nil where it was not asked.
func (p *page) failures(list []*bowrollv1.Failure, covered *bool) {
	if len(list) == 0 {
		return
	}
	aside := ""
	if covered != nil && *covered {
		aside = "every single failure is covered"
	} else if covered != nil {
		aside = "NOT every single failure is covered"
	}
	p.heading("IF UNITS FAIL", aside)
	t := table{columns: []column{
		{head: "Failure", least: 12},
		{head: "Which", least: 8, rank: 1},
		{head: "Go: run", right: true},
		{head: "fits"},
		{head: "Stop at", right: true},
		{head: "fits"},
		{head: "Control", under: "airspeed", right: true, rank: 2},
		{head: "Leg"},
	}}
	for _, f := range list {
		leg := cell{text: "none", tone: toneBad}
		if f.Leg != nil {
			leg = cell{text: word(f.GetLeg()), tone: toneGood}
		} else if f.GetCovered() {
			leg = cell{text: "not asked"}
		}
		t.row(append(plain(word(f.GetKind()), clean(f.GetText()), p.givenMeasured(length, f.GoRunM), yes(f.GetGoFits()),
			p.givenMeasured(length, f.StopDistanceM), yes(f.GetStopFits()), p.givenMeasured(speed, f.ControlAirspeedMps)), leg)...)
	}
	p.table(t)
}

// limits draws how far single inputs may go.
func (p *page) limits(off *bowrollv1.Takeoff) {
	l := off.GetLimits()
	if l == nil {
		return
	}
	p.heading("LIMITS", "each with all else held, firing "+clean(l.GetFiring()))
	p.labelled(tonePlain, "Headwind", tonePlain, p.bound("at least", p.atLeast, speed, l.GetLeastHeadwindMps()), labelColumns)
	p.labelled(tonePlain, "Mass alone", tonePlain, p.bound("at most", p.atMost, mass, l.GetGreatestMassKg()), labelColumns)
	p.labelled(tonePlain, "Air", tonePlain, p.bound("at most", p.atMost, temperature, l.GetHottestAirC()), labelColumns)
}

// bound says a limit in words.
func (p *page) bound(lead string, write func(measure, float64) string, m measure, l *bowrollv1.Limit) string {
	switch l.GetState() {
	case bowrollv1.LimitState_LIMIT_STATE_FOUND:
		return lead + " " + write(m, l.GetValue())
	case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		return "no limit in range"
	case bowrollv1.LimitState_LIMIT_STATE_NONE:
		return "no value in range will do"
	}
	return none
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
