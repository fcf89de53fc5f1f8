package sheet

import (
	"fmt"
	"io"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Model draws what computes the answers.
func Model(w io.Writer, style Style, info *bowrollv1.ModelInfo) error {
	p := newPage(style)
	p.heading("MODEL "+clean(info.GetProvenance().GetModelVersion()), "program "+clean(info.GetProgramVersion()))
	p.labelled(tonePlain, "Catalog", tonePlain, info.GetProvenance().GetCatalogRevision(), labelColumns)
	if info.GetDigest() != "" {
		p.labelled(tonePlain, "Digest", tonePlain, info.GetDigest()+" (who has the same computes alike)", labelColumns)
	}
	if len(info.GetVersions()) > 0 {
		p.heading("VERSIONS", "")
		for _, v := range info.GetVersions() {
			p.paragraph(tonePlain, clean(v.GetVersion())+", "+clean(v.GetDate()), 0)
			for _, change := range v.GetChanges() {
				p.paragraph(tonePlain, clean(change), 2)
			}
		}
	}
	if len(info.GetConstants()) > 0 {
		p.heading("CONSTANTS", "")
		t := table{columns: []column{{head: "Constant", least: 12}, {head: "Value", right: true}, {head: "Source", least: 16}}}
		for _, c := range info.GetConstants() {
			t.row(plain(clean(c.GetId()), figures(c.GetValue(), 9), clean(c.GetSource()))...)
		}
		p.table(t)
	}
	if len(info.GetDispersions()) > 0 {
		p.heading("STANDARD DEVIATIONS WHERE A CASE GIVES NONE", "")
		t := table{columns: []column{{head: "Quantity", least: 12}, {head: "Of", least: 8}, {head: "Value", right: true}, {head: "Source", least: 16}}}
		for _, d := range info.GetDispersions() {
			t.row(plain(clean(d.GetQuantity()), clean(d.GetScope()), figures(d.GetValue(), 4), clean(d.GetSource()))...)
		}
		p.table(t)
	}
	p.gap()
	text := info.GetNotice()
	if text == "" {
		text = notice
	}
	p.paragraph(tonePlain, text, 0)
	return p.write(w)
}

// Checks draws the published checks with today's figures, each group under the
// source that its expected values come from.
func Checks(w io.Writer, style Style, answer *bowrollv1.ModelCheckResponse) error {
	p := newPage(style)
	p.heading("PUBLISHED CHECKS", "model "+clean(answer.GetProvenance().GetModelVersion()))
	text, mood := fmt.Sprintf("All %d hold.", answer.GetHoldsCount()), toneGood
	if answer.GetFailsCount() > 0 {
		text, mood = fmt.Sprintf("%d FAIL, %d hold.", answer.GetFailsCount(), answer.GetHoldsCount()), toneBad
	}
	if shown := len(answer.GetChecks()) - int(answer.GetHoldsCount()+answer.GetFailsCount()); shown > 0 {
		text += fmt.Sprintf(" %d shown only: from memory, or known to be misprinted, they decide nothing.", shown)
	}
	p.paragraph(mood, text, 0)
	p.gap()
	t := table{columns: []column{
		{head: "Check", least: 24},
		{head: "What", least: 24, rank: 5},
		{head: "Value", rank: 4},
		{head: "Unit", rank: 1},
		{head: "Expected", right: true},
		{head: "Computed", right: true},
		{head: "Deviation", right: true, rank: 2},
		{head: "Allowed", right: true, rank: 3},
		{head: "Verdict"},
	}}
	source := ""
	for _, c := range answer.GetChecks() {
		if c.GetSource() != source {
			source = c.GetSource()
			t.row(cell{"Source: " + clean(source), toneQuiet})
		}
		t.row(append(plain(clean(c.GetId()), clean(c.GetTitle()), clean(c.GetObtained()), clean(c.GetUnit()),
			figures(c.GetExpected(), 6), figures(c.GetComputed(), 6), figures(c.GetDeviation(), 2), figures(c.GetTolerance(), 2)),
			verdict(c.GetVerdict()))...)
	}
	p.table(t)
	return p.write(w)
}

// Vectors draws the deviations from a file of reference cases.
func Vectors(w io.Writer, style Style, answer *bowrollv1.ModelCheckVectorsResponse) error {
	p := newPage(style)
	p.heading("REFERENCE CASES", "model "+clean(answer.GetProvenance().GetModelVersion()))
	text, mood := fmt.Sprintf("All %d cases hold.", answer.GetCaseCount()), toneGood
	if !answer.GetHolds() {
		text, mood = fmt.Sprintf("Of %d cases NOT all hold.", answer.GetCaseCount()), toneBad
	}
	p.paragraph(mood, text, 0)
	p.gap()
	t := table{columns: []column{
		{head: "Quantity", least: 30},
		{head: "Cases", right: true},
		{head: "Largest relative", under: "deviation", right: true},
		{head: "Allowed", right: true},
		{head: "Case", least: 8},
		{head: "Verdict"},
	}}
	for _, d := range answer.GetDeviations() {
		largest := "disagrees"
		if d.LargestRelative != nil {
			largest = fmt.Sprintf("%.1e", d.GetLargestRelative())
		}
		t.row(append(plain(clean(d.GetQuantity()), digits(int(d.GetCaseCount())), largest,
			fmt.Sprintf("%.0e", d.GetTolerance()), orNone(d.GetCaseId())), verdict(d.GetVerdict()))...)
	}
	p.table(t)
	return p.write(w)
}

func verdict(v bowrollv1.Verdict) cell {
	switch v {
	case bowrollv1.Verdict_VERDICT_HOLDS:
		return cell{word(v), toneGood}
	case bowrollv1.Verdict_VERDICT_FAILS:
		return cell{"FAILS", toneBad}
	}
	return cell{text: word(v)}
}
