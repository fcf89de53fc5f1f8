package sheet

import (
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// CorrectionFit draws a fit: the factors with their intervals, groups, errors and
// cautions.
func CorrectionFit(w io.Writer, style Style, fit *bowrollv1.CorrectionFit) error {
	p := newPage(style)
	p.fit(fit)
	return p.write(w)
}

func (p *page) fit(fit *bowrollv1.CorrectionFit) {
	p.heading("CORRECTION OF "+strings.ToUpper(short(fit.GetAircraftType())), digits(int(fit.GetFittedCount()))+" of "+digits(int(fit.GetRunCount()))+
		" runs fitted; intervals of "+percent(fit.GetSettings().GetIntervalProbability()))
	t := table{columns: []column{
		{head: "Factor on"}, {head: "Estimate", right: true}, {head: "From", right: true}, {head: "To", right: true}, {head: "Learned", right: true, rank: 1},
	}}
	for _, e := range fit.GetEstimates() {
		t.row(cell{text: strings.ReplaceAll(e.GetFactor(), "_", " "), tone: toneTitle}, cell{text: threePlaces(e.GetValue())},
			cell{text: threePlaces(e.GetLow())}, cell{text: threePlaces(e.GetHigh())}, cell{text: percent(e.GetLearnedFraction())})
	}
	p.table(t)
	p.heading("ERRORS", "root mean square")
	errors := table{columns: []column{
		{head: ""}, {head: "Distance", under: p.unit(length), right: true}, {head: "Bias", under: p.unit(length), right: true},
		{head: "Time", under: "s", right: true}, {head: "Score", under: "sigma", right: true},
	}}
	for _, row := range []struct {
		name string
		*bowrollv1.FitError
	}{
		{"catalog as it is", fit.GetUncorrectedError()}, {"on the runs fitted", fit.GetFittedError()}, {"on runs not seen", fit.GetHeldOutError()},
	} {
		errors.row(cell{text: row.name}, cell{text: p.givenNumber(length, row.DistanceRmsM)}, cell{text: p.givenNumber(length, row.DistanceBiasM)},
			cell{text: given(row.TimeRmsS, twoPlaces)}, cell{text: given(row.ScoreRms, twoPlaces)})
	}
	p.table(errors)
	if len(fit.GetOffsets()) > 0 {
		p.heading("BESIDE THE TYPE", "drawn towards it by how little is known")
		offsets := table{columns: []column{
			{head: "Of"}, {head: "Which", least: 8}, {head: "What"}, {head: "Runs", right: true}, {head: "Offset", right: true},
			{head: "From", right: true}, {head: "To", right: true}, {head: "Alone", right: true, rank: 1},
		}}
		for _, o := range fit.GetOffsets() {
			offsets.row(cell{text: o.GetGroup()}, cell{text: short(o.GetKey())}, cell{text: strings.ReplaceAll(o.GetFactor(), "_", " ")},
				cell{text: digits(int(o.GetRunCount()))}, cell{text: threePlaces(o.GetValue())}, cell{text: threePlaces(o.GetLow())},
				cell{text: threePlaces(o.GetHigh())}, cell{text: given(o.Alone, threePlaces)})
		}
		p.table(offsets)
	}
	p.gap()
	p.drift(fit.GetDrift())
	for _, f := range fit.GetFlaggedRuns() {
		p.paragraph(toneCare, "Not fitted, "+short(f.GetObservedRun())+": "+clean(f.GetReason()), 2)
	}
	for _, c := range fit.GetCautions() {
		p.paragraph(toneCare, "Caution: "+clean(c), 2)
	}
}

// Correction draws a correction: the fit, and what was decided.
func Correction(w io.Writer, style Style, c *bowrollv1.Correction) error {
	p := newPage(style)
	const at = 12
	p.heading("CORRECTION "+strings.ToUpper(short(c.GetName())), "")
	p.labelled(toneQuiet, "State", correctionState(c.GetState()).tone, word(c.GetState()), at)
	p.labelled(toneQuiet, "Proposed", tonePlain, instant(c.GetCreateTime())+" UTC by "+clean(c.GetProposedBy())+": "+clean(c.GetReason()), at)
	p.labelled(toneQuiet, "Against", toneQuiet, c.GetCatalogRevision(), at)
	for _, d := range c.GetDecisions() {
		p.labelled(toneQuiet, "Then", tonePlain, word(d.GetState())+" "+instant(d.GetDecideTime())+" UTC by "+clean(d.GetActor())+": "+clean(d.GetReason()), at)
	}
	p.labelled(toneQuiet, "Etag", toneQuiet, c.GetEtag(), at)
	p.fit(c.GetFit())
	return p.write(w)
}

func correctionState(s bowrollv1.CorrectionState) cell {
	if s == bowrollv1.CorrectionState_CORRECTION_STATE_ACCEPTED {
		return cell{word(s), toneGood}
	}
	return cell{text: word(s)}
}

// Corrections draws corrections, one line each.
func Corrections(w io.Writer, style Style, answer *bowrollv1.ListCorrectionsResponse) error {
	p := newPage(style)
	p.heading("CORRECTIONS", "times in UTC")
	if len(answer.GetCorrections()) == 0 {
		p.paragraph(tonePlain, "None.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Correction", least: 8}, {head: "Type"}, {head: "State"}, {head: "Thrust", right: true}, {head: "Friction", right: true},
		{head: "Drag", right: true}, {head: "Proposed", least: 10, rank: 1}, {head: "By", least: 8, rank: 2},
	}}
	for _, c := range answer.GetCorrections() {
		f := c.GetFit().GetProposed()
		t.row(cell{text: short(c.GetName()), tone: toneTitle}, cell{text: short(c.GetAircraftType())}, correctionState(c.GetState()),
			cell{text: given(f.ThrustFactor, threePlaces)}, cell{text: given(f.RollingFrictionFactor, threePlaces)}, cell{text: given(f.DragFactor, threePlaces)},
			cell{text: instant(c.GetCreateTime())}, cell{text: clean(c.GetProposedBy())})
	}
	p.table(t)
	return p.write(w)
}
