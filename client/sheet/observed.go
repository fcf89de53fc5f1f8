package sheet

import (
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// ObservedRuns draws recorded runs, one line each.
func ObservedRuns(w io.Writer, style Style, site string, runs []*bowrollv1.ObservedRun) error {
	p := newPage(style)
	p.heading("OBSERVED RUNS OF "+strings.ToUpper(short(site)), "times in UTC")
	if len(runs) == 0 {
		p.paragraph(tonePlain, "None.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Run", least: 8}, {head: "Launched", least: 10, rank: 2}, {head: "Type"}, {head: "Tail"}, {head: "Lot", rank: 3},
		{head: "Mass", under: p.unit(mass), right: true, rank: 1}, {head: "Units", right: true, rank: 1},
		{head: "Lift-off", under: p.unit(length), right: true}, {head: "Time", under: "s", right: true},
		{head: "Superseded by", least: 8, rank: 4},
	}}
	for _, r := range runs {
		c := r.GetConditions()
		t.row(cell{text: short(r.GetName()), tone: toneTitle}, cell{text: instant(r.GetLaunchTime())}, cell{text: short(c.GetAircraftType())},
			cell{text: orNone(r.GetTail())}, cell{text: orNone(r.GetLot())}, cell{text: p.givenNumber(mass, c.GrossMassKg)},
			cell{text: digits(int(c.GetBoosters().GetCount()))}, cell{text: p.givenNumber(length, r.LiftoffDistanceM)},
			cell{text: given(r.LiftoffTimeS, seconds)}, cell{text: short(r.GetSupersededBy())})
	}
	p.table(t)
	return p.write(w)
}

// Residuals draws runs beside what the model says of them, and what they have in
// common.
func Residuals(w io.Writer, style Style, answer *bowrollv1.TabulateResidualsResponse) error {
	p := newPage(style)
	p.heading("RESIDUALS", "observed less predicted, at lift-off")
	if len(answer.GetRows()) == 0 {
		p.paragraph(tonePlain, "No run is recorded.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Run", least: 8}, {head: "Type", rank: 2}, {head: "Tail", rank: 1}, {head: "Observed", under: p.unit(length), right: true},
		{head: "Predicted", under: p.unit(length), right: true}, {head: "Residual", under: p.unit(length), right: true},
		{head: "Time", under: "s", right: true, rank: 3}, {head: "Score", under: "sigma", right: true}, {head: "Flag", least: 8},
	}}
	for _, r := range answer.GetRows() {
		flag := cell{}
		if r.GetFlag() != bowrollv1.RunFlag_RUN_FLAG_NONE {
			flag = cell{word(r.GetFlag()), toneCare}
		}
		t.row(cell{text: short(r.GetObservedRun()), tone: toneTitle}, cell{text: short(r.GetAircraftType())}, cell{text: orNone(r.GetTail())},
			cell{text: p.givenNumber(length, r.ObservedDistanceM)}, cell{text: p.givenNumber(length, r.PredictedDistanceM)},
			cell{text: p.givenNumber(length, r.DistanceResidualM)}, cell{text: given(r.TimeResidualS, twoPlaces)},
			cell{text: given(r.DistanceScore, onePlace)}, flag)
	}
	p.table(t)
	for _, r := range answer.GetRows() {
		if r.GetReason() != "" {
			p.paragraph(toneCare, short(r.GetObservedRun())+": "+clean(r.GetReason()), 2)
		}
	}
	p.heading("GROUPS", "runs that are not flagged")
	g := table{columns: []column{
		{head: "Of"}, {head: "Which", least: 8}, {head: "Runs", right: true}, {head: "Ratio", under: "median", right: true},
		{head: "Spread", right: true, rank: 1}, {head: "Mean", under: p.unit(length), right: true}, {head: "RMS", under: p.unit(length), right: true},
	}}
	for _, r := range answer.GetGroups() {
		g.row(cell{text: strings.ReplaceAll(r.GetGroup(), "_", " ")}, cell{text: short(r.GetKey())}, cell{text: digits(int(r.GetRunCount()))},
			cell{text: given(r.MedianDistanceRatio, threePlaces)}, cell{text: given(r.DistanceRatioSpread, threePlaces)},
			cell{text: p.givenNumber(length, r.MeanDistanceResidualM)}, cell{text: p.givenNumber(length, r.DistanceRmsM)})
	}
	p.table(g)
	p.gap()
	for _, d := range answer.GetDrifts() {
		p.drift(d)
	}
	return p.write(w)
}

// drift says whether a type drifts.
func (p *page) drift(d *bowrollv1.Drift) {
	state, t := "no drift", toneGood
	if d.GetAlarm() {
		state, t = "DRIFT, first at "+short(d.GetAlarmRun()), toneCare
	}
	p.paragraph(t, short(d.GetAircraftType())+": "+state+" (sums "+onePlace(d.GetLongScore())+" long, "+onePlace(d.GetShortScore())+" short, threshold "+
		onePlace(d.GetThresholdScore())+"; a false alarm in "+fixed(d.GetFalseAlarmRuns(), 0)+" runs)", 2)
}

func onePlace(v float64) string    { return fixed(v, 1) }
func twoPlaces(v float64) string   { return fixed(v, 2) }
func threePlaces(v float64) string { return fixed(v, 3) }

// Debrief draws planned beside actual.
func Debrief(w io.Writer, style Style, answer *bowrollv1.DebriefPlanResponse) error {
	p := newPage(style)
	p.heading("PLANNED AND ACTUAL", "distance at lift-off, "+p.unit(length))
	t := table{columns: []column{
		{head: "Sortie", least: 8}, {head: "Planned", right: true}, {head: "Actual", right: true}, {head: "Differs", right: true},
		{head: "Mass", right: true, rank: 2}, {head: "Wind", right: true, rank: 2}, {head: "Firing", right: true, rank: 2},
		{head: "Unexplained", right: true}, {head: "Remark", least: 16, rank: 1},
	}}
	for _, r := range answer.GetRows() {
		t.row(cell{text: r.GetSortie(), tone: toneTitle}, cell{text: p.givenNumber(length, r.PlannedDistanceM)}, cell{text: p.givenNumber(length, r.ActualDistanceM)},
			cell{text: p.givenNumber(length, r.DistanceDifferenceM)}, cell{text: p.givenNumber(length, r.MassEffectM)},
			cell{text: p.givenNumber(length, r.HeadwindEffectM)}, cell{text: p.givenNumber(length, r.FiringEffectM)},
			cell{text: p.givenNumber(length, r.UnexplainedM)}, cell{text: clean(r.GetRemark())})
	}
	p.table(t)
	if missing := answer.GetUnrecordedSorties(); len(missing) > 0 {
		p.paragraph(toneCare, "Launched, and no run recorded: "+strings.Join(missing, ", "), 2)
	}
	return p.write(w)
}
