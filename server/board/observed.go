package board

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

func (b *board) sitesOfObserved(w http.ResponseWriter, r *http.Request, v *visitor) error {
	return b.choose(w, r, v, "Observed runs", "/observed/", bowrollv1.Observations_TabulateResiduals_FullMethodName)
}

// A proposal is a correction and what it would change.
type proposal struct {
	ID        string
	Given     *bowrollv1.Correction
	Estimates paper.Table
	Errors    paper.Fields
	Decide    bool
	Request   string
}

// observed shows what launches of a site really did beside what the model says of
// them, whether the model still describes them, and the corrections fitted to them.
func (b *board) observed(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site := r.PathValue("site")
	ctx := v.context(r.Context())
	found, err := b.to.Observations.TabulateResiduals(ctx, &bowrollv1.TabulateResidualsRequest{Parent: "sites/" + site})
	if err != nil {
		return err
	}
	var proposals []proposal
	token := ""
	for range mostPages {
		answer, err := b.to.Observations.ListCorrections(ctx, &bowrollv1.ListCorrectionsRequest{PageSize: 200, PageToken: token})
		if err != nil {
			return err
		}
		for _, c := range answer.GetCorrections() {
			if c.GetSite() == "sites/"+site {
				proposals = append(proposals, proposal{ID: short(c.GetName()), Given: c, Estimates: estimateTable(c.GetFit()), Errors: fitErrors(c.GetFit(), v), Request: b.NewID() + b.NewID(),
					Decide: c.GetState() == bowrollv1.CorrectionState_CORRECTION_STATE_PROPOSED && v.may(bowrollv1.Observations_AcceptCorrection_FullMethodName, "")})
			}
		}
		if token = answer.GetNextPageToken(); token == "" {
			break
		}
	}
	return b.write(w, v, http.StatusOK, view{Page: "observed", Title: "Observed runs of " + site, From: found.GetProvenance(), Data: struct {
		Site, Actor  string
		Found        *bowrollv1.TabulateResidualsResponse
		Runs, Groups paper.Table
		Drifts       paper.Table
		Proposals    []proposal
	}{site, v.who.Name, found, residualTable(found.GetRows(), v), groupTable(found.GetGroups(), v), driftTable(found.GetDrifts()), proposals}})
}

// length writes a length or a difference of two with its unit.
func length(v *visitor) func(float64) string {
	return func(m float64) string { return figure.Measured(v.units, figure.Length, m) }
}

// launched draws the launch time of a row, which is text in tables.
func launched(text string) string {
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return text
	}
	return at.UTC().Format("2 Jan 2006 15:04Z")
}

func residualTable(rows []*bowrollv1.ResidualRow, v *visitor) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Run"}, {Head: "Launched"}, {Head: "Type"}, {Head: "Units", Right: true},
		{Head: "Observed", Right: true}, {Head: "Predicted", Right: true}, {Head: "Longer by", Right: true}, {Head: "In sigmas", Right: true}, {Head: "Remark"}}, Strong: map[int]bool{}}
	for i, row := range rows {
		remark := row.GetReason()
		if row.GetFlag() != bowrollv1.RunFlag_RUN_FLAG_NONE {
			t.Strong[i], remark = true, "not fitted: "+remark
		}
		t.Rows = append(t.Rows, []string{short(row.GetObservedRun()), launched(row.GetLaunchTime()), short(row.GetAircraftType()), fmt.Sprint(row.GetUnitCount()),
			figure.Given(row.ObservedDistanceM, length(v)), figure.Given(row.PredictedDistanceM, length(v)), figure.Given(row.DistanceResidualM, length(v)),
			figure.Given(row.DistanceScore, func(x float64) string { return figure.Fixed(x, 1) }), remark})
	}
	return t
}

func groupTable(groups []*bowrollv1.ResidualGroup, v *visitor) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Which"}, {Head: "What it is"}, {Head: "Runs", Right: true}, {Head: "Observed over predicted, median", Right: true}, {Head: "Longer by, mean", Right: true}, {Head: "Error, rms", Right: true}}}
	for _, g := range groups {
		t.Rows = append(t.Rows, []string{short(g.GetKey()), strings.ReplaceAll(g.GetGroup(), "_", " "), fmt.Sprint(g.GetRunCount()),
			figure.Given(g.MedianDistanceRatio, func(x float64) string { return figure.Fixed(x, 3) }), figure.Given(g.MeanDistanceResidualM, length(v)), figure.Given(g.DistanceRmsM, length(v))})
	}
	return t
}

func driftTable(drifts []*bowrollv1.Drift) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Type"}, {Head: "Drift", Badges: map[string]paper.Fill{"ALARM": paper.Black}}, {Head: "Since run"}, {Head: "Runs", Right: true},
		{Head: "Longer, sigmas", Right: true}, {Head: "Shorter, sigmas", Right: true}, {Head: "Alarm from", Right: true}}}
	for _, d := range drifts {
		said := "none seen"
		if d.GetAlarm() {
			said = "ALARM"
		}
		t.Rows = append(t.Rows, []string{short(d.GetAircraftType()), said, short(d.GetAlarmRun()), fmt.Sprint(d.GetRunCount()), figure.Fixed(d.GetLongScore(), 1), figure.Fixed(d.GetShortScore(), 1), figure.Fixed(d.GetThresholdScore(), 1)})
	}
	return t
}

func estimateTable(fit *bowrollv1.CorrectionFit) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Factor"}, {Head: "Times", Right: true}, {Head: "From", Right: true}, {Head: "To", Right: true}, {Head: "Learned from the runs", Right: true}}}
	for _, e := range fit.GetEstimates() {
		t.Rows = append(t.Rows, []string{strings.ReplaceAll(e.GetFactor(), "_", " "), figure.Fixed(e.GetValue(), 3), figure.Fixed(e.GetLow(), 3), figure.Fixed(e.GetHigh(), 3), figure.Fixed(100*e.GetLearnedFraction(), 0) + " %"})
	}
	return t
}

// fitErrors says what to expect of a fit: its error on runs that it did not see.
func fitErrors(fit *bowrollv1.CorrectionFit, v *visitor) paper.Fields {
	return paper.Fields{List: []paper.Field{
		{Label: "Runs fitted", Value: fmt.Sprintf("%d of %d", fit.GetFittedCount(), fit.GetRunCount())},
		{Label: "Error as the catalog is, rms", Value: figure.Given(fit.GetUncorrectedError().DistanceRmsM, length(v))},
		{Label: "Error on runs that it did not see, rms", Value: figure.Given(fit.GetHeldOutError().DistanceRmsM, length(v))},
	}}
}

// decide accepts or rejects a correction.
func (b *board) decide(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	back := "/observed/" + r.PathValue("site")
	ctx, asked := v.context(r.Context()), &bowrollv1.DecideCorrectionRequest{Name: "corrections/" + r.PathValue("correction"), Etag: r.PostFormValue("etag"),
		Reason: r.PostFormValue("reason"), Actor: actor(r, v), RequestId: r.PostFormValue("request_id")}
	var err error
	switch r.PostFormValue("decision") {
	case "accept":
		_, err = b.to.Observations.AcceptCorrection(ctx, asked)
	case "reject":
		_, err = b.to.Observations.RejectCorrection(ctx, asked)
	default:
		err = &problem{Code: http.StatusUnprocessableEntity, Title: "Nothing was decided", Text: "Accept the correction or reject it."}
	}
	if err != nil {
		return at(err, back, "Back to the observed runs")
	}
	http.Redirect(w, r, back, http.StatusSeeOther)
	return nil
}
