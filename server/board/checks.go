package board

import (
	"net/http"
	"strconv"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// verdicts are framed so that a check that fails is seen first.
func verdicts() map[string]paper.Fill {
	return map[string]paper.Fill{"FAILS": paper.Black, "shown only": paper.Open}
}

func verdict(v bowrollv1.Verdict) string {
	switch v {
	case bowrollv1.Verdict_VERDICT_HOLDS:
		return "holds"
	case bowrollv1.Verdict_VERDICT_FAILS:
		return "FAILS"
	}
	return "shown only"
}

// significant writes a number with so many figures.
func significant(v float64, figures int) string { return strconv.FormatFloat(v, 'g', figures, 64) }

// checks shows what holds the model, with today's figures.
func (b *board) checks(w http.ResponseWriter, r *http.Request, v *visitor) error {
	ctx := v.context(r.Context())
	info, err := b.to.Model.GetModel(ctx, &bowrollv1.GetModelRequest{})
	if err != nil {
		return err
	}
	published, err := b.to.Model.Check(ctx, &bowrollv1.ModelCheckRequest{})
	if err != nil {
		return err
	}
	vectors, err := b.to.Model.CheckVectors(ctx, &bowrollv1.ModelCheckVectorsRequest{})
	if err != nil && status.Code(err) != codes.InvalidArgument && status.Code(err) != codes.Unimplemented {
		return err
	}
	return b.write(w, v, http.StatusOK, view{Page: "checks", Title: "Checks of the model", From: info.GetProvenance(), Data: struct {
		Info                               *bowrollv1.ModelInfo
		Published                          *bowrollv1.ModelCheckResponse
		Sources                            []*publishedSource
		Vectors                            *bowrollv1.ModelCheckVectorsResponse
		Deviations, Dispersions, Constants paper.Table
	}{info, published, publishedSources(published), vectors, deviationTable(vectors), dispersionTable(info), constantTable(info)}})
}

// A published source is values from one source beside today's figures.
type publishedSource struct {
	Source, Obtained    string
	Holds, Fails, Shown int
	Checks              paper.Table
}

// publishedSources are the published checks by their source, in the order in which
// the service gives them.
func publishedSources(published *bowrollv1.ModelCheckResponse) []*publishedSource {
	var list []*publishedSource
	known := map[[2]string]*publishedSource{}
	for _, c := range published.GetChecks() {
		key := [2]string{c.GetSource(), c.GetObtained()}
		s := known[key]
		if s == nil {
			s = &publishedSource{Source: c.GetSource(), Obtained: c.GetObtained(), Checks: paper.Table{Columns: []paper.Column{
				{Head: "Check"}, {Head: "Verdict", Badges: verdicts()}, {Head: "Published", Right: true}, {Head: "Today", Right: true}, {Head: "Apart", Right: true}, {Head: "Permitted", Right: true}, {Head: "Unit"}}}}
			known[key], list = s, append(list, s)
		}
		permitted := significant(c.GetTolerance(), 3)
		switch c.GetVerdict() {
		case bowrollv1.Verdict_VERDICT_HOLDS:
			s.Holds++
		case bowrollv1.Verdict_VERDICT_FAILS:
			s.Fails++
		default:
			s.Shown++
			permitted = figure.None
		}
		s.Checks.Rows = append(s.Checks.Rows, []string{c.GetTitle(), verdict(c.GetVerdict()), significant(c.GetExpected(), 6), significant(c.GetComputed(), 6), significant(c.GetDeviation(), 2), permitted, c.GetUnit()})
	}
	return list
}

// deviationTable is how far the model is from its reference cases.
func deviationTable(vectors *bowrollv1.ModelCheckVectorsResponse) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Quantity"}, {Head: "Verdict", Badges: verdicts()}, {Head: "Cases", Right: true}, {Head: "Furthest apart, relative", Right: true}, {Head: "Permitted", Right: true}, {Head: "In case"}}}
	for _, x := range vectors.GetDeviations() {
		t.Rows = append(t.Rows, []string{x.GetQuantity(), verdict(x.GetVerdict()), strconv.Itoa(int(x.GetCaseCount())), figure.Given(x.LargestRelative, func(v float64) string { return significant(v, 2) }), significant(x.GetTolerance(), 2), x.GetCaseId()})
	}
	return t
}

// dispersionTable is what chance is computed with, and where it comes from.
func dispersionTable(info *bowrollv1.ModelInfo) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Quantity"}, {Head: "Value", Right: true}, {Head: "Holds for"}, {Head: "Source"}}}
	for _, d := range info.GetDispersions() {
		t.Rows = append(t.Rows, []string{d.GetQuantity(), significant(d.GetValue(), -1), d.GetScope(), d.GetSource()})
	}
	return t
}

func constantTable(info *bowrollv1.ModelInfo) paper.Table {
	t := paper.Table{Columns: []paper.Column{{Head: "Constant"}, {Head: "Value", Right: true}, {Head: "Source"}}}
	for _, c := range info.GetConstants() {
		t.Rows = append(t.Rows, []string{c.GetId(), significant(c.GetValue(), -1), c.GetSource()})
	}
	return t
}
