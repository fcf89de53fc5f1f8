package sheet

import (
	"fmt"
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// FoundFiring draws the firing planned for one take-off: its cue, what it was
// compared with, the run against the moment of the command, and what may fail. about
// says what the case is; it may be empty.
func FoundFiring(w io.Writer, style Style, about string, found *bowrollv1.TakeoffsFindFiringResponse) error {
	p := newPage(style)
	p.heading("FIRING", clean(about))
	p.labelled(toneTitle, "Command", toneTitle, p.cue(found.GetFiring()), labelColumns)
	p.warnings(alone(found.GetCautions()))
	p.planned(found.GetPlannedFiring())
	p.firingCurve(found)
	covered := found.GetCovered()
	p.failures(found.GetFailures(), &covered)
	p.cautions("CAUTIONS", without(alone(found.GetCautions()), bowrollv1.Severity_SEVERITY_WARNING))
	p.provenance(found.GetProvenance())
	return p.write(w)
}

// planned draws the firing planned beside those it was compared with.
func (p *page) planned(plan *bowrollv1.PlannedFiring) {
	if plan == nil {
		return
	}
	high := percentile(plan.GetPercentile())
	p.heading("COMPARED", fmt.Sprintf("planned for the least run at %s, of %d draws", high, plan.GetSampleCount()))
	t := table{columns: []column{
		{head: "Firing", least: 12},
		{head: "Command", right: true},
		{head: "Run", right: true},
		{head: "P50", right: true, rank: 1},
		{head: high, right: true},
	}}
	ninetyNine := plan.GetPlanned().RunP99M != nil && high != "P99" // else the policy's own percentile says it
	if ninetyNine {
		t.columns = append(t.columns, column{head: "P99", right: true})
	}
	t.columns = append(t.columns, column{head: "Burn end", under: "to lift-off", right: true, rank: 2})
	add := func(name string, o *bowrollv1.FiringOption) {
		if o == nil {
			return
		}
		row := plain(name, command(o), p.givenMeasured(length, o.RunM), p.givenMeasured(length, o.RunP50M), p.givenMeasured(length, o.RunPercentileM))
		if ninetyNine {
			row = append(row, cell{text: p.givenMeasured(length, o.RunP99M)})
		}
		t.row(append(row, cell{text: given(o.BurnEndMinusLiftoffS, signedSeconds)})...)
	}
	add("planned", plan.GetPlanned())
	add("nominal best", plan.GetNominalBest())
	for _, o := range plan.GetHouseRules() {
		add(clean(o.GetId()), o)
	}
	p.table(t)
	for _, slip := range []struct {
		said        string
		nominal, at *float64
	}{
		{"Half a second early", plan.HalfSecondEarlyM, plan.HalfSecondEarlyPercentileM},
		{"Half a second late", plan.HalfSecondLateM, plan.HalfSecondLatePercentileM},
	} {
		var costs []string
		if slip.nominal != nil {
			costs = append(costs, p.measured(length, *slip.nominal)+" of nominal run")
		}
		if slip.at != nil {
			costs = append(costs, p.measured(length, *slip.at)+" at "+high)
		}
		if len(costs) > 0 {
			p.paragraph(tonePlain, slip.said+" costs "+strings.Join(costs, ", ")+".", 0)
		}
	}
}

// firingCurve draws the run against the moment of the command.
func (p *page) firingCurve(found *bowrollv1.TakeoffsFindFiringResponse) {
	if len(found.GetCurve()) == 0 {
		return
	}
	high := percentile(found.GetPlannedFiring().GetPercentile())
	p.heading("RUN AGAINST THE COMMAND", fmt.Sprintf("%d draws behind each row", found.GetCurveSampleCount()))
	unit := p.unit(length)
	t := table{columns: []column{
		{head: "Command", under: "s", right: true},
		{head: "Run", under: unit, right: true},
		{head: "P50", under: unit, right: true, rank: 1},
		{head: high, under: unit, right: true},
	}}
	ninetyNine := high != "P99" // else the policy's own percentile says it
	if ninetyNine {
		t.columns = append(t.columns, column{head: "P99", under: unit, right: true})
	}
	t.columns = append(t.columns, column{head: "Covered"})
	for _, f := range found.GetCurve() {
		row := plain(fixed(f.GetDelayS(), 2), p.givenNumber(length, f.RunM), p.givenNumber(length, f.RunP50M), p.givenNumber(length, f.RunPercentileM))
		if ninetyNine {
			row = append(row, cell{text: p.givenNumber(length, f.RunP99M)})
		}
		covered := cell{text: "no", tone: toneBad}
		if f.GetCovered() {
			covered = cell{text: "yes", tone: toneGood}
		}
		t.row(append(row, covered)...)
	}
	p.table(t)
	p.paragraph(tonePlain, "Command: seconds after brake release. Covered: every single failure has a way out that the policy accepts. "+
		"The comparison above takes draws of its own, which had no part in the search, so it may differ a little from the row of the same moment.", 0)
}

// percentile is how a percentile is called, e.g. P95.
func percentile(ratio float64) string {
	if ratio == 0 {
		return "Percentile" // which one the answer does not say
	}
	return fmt.Sprintf("P%.0f", ratio*100)
}

// command says when a firing is commanded.
func command(o *bowrollv1.FiringOption) string {
	if o.GetMode() == bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES {
		return "brakes"
	}
	return given(o.DelayS, seconds)
}

func signedSeconds(v float64) string { return fmt.Sprintf("%+.1f s", v) }
