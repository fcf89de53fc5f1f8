package sheet

import (
	"io"
	"math"
	"strconv"
	"strings"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// sweepState draws where a sweep stands.
func sweepState(s bowrollv1.SweepState) cell {
	switch s {
	case bowrollv1.SweepState_SWEEP_STATE_DONE:
		return cell{word(s), toneGood}
	case bowrollv1.SweepState_SWEEP_STATE_CANCELLED:
		return cell{word(s), toneCare}
	case bowrollv1.SweepState_SWEEP_STATE_FAILED:
		return cell{word(s), toneBad}
	}
	return cell{text: word(s)}
}

// rows draws a number of rows.
func rows(n int32) string { return figure.Grouped(strconv.Itoa(int(n))) }

// Bytes draws an amount of data in decimal units.
func Bytes(n float64) string {
	for _, unit := range []string{"bytes", "kB", "MB", "GB"} {
		if n < 999.5 {
			if unit == "bytes" {
				return fixed(n, 0) + hold + unit
			}
			return fixed(n, 1) + hold + unit
		}
		n /= 1000
	}
	return fixed(n, 1) + hold + "TB"
}

// span draws how long something takes.
func span(s float64) string {
	switch {
	case s < 100:
		return figures(math.Max(s, 0.1), 2) + hold + "s"
	case s < 100*60:
		return fixed(s/60, 0) + hold + "min"
	case s < 72*3600:
		return fixed(s/3600, 1) + hold + "h"
	}
	return fixed(s/86400, 1) + hold + "days"
}

// inParts says how rows are cut, where they are.
func inParts(parts, each int32) string {
	if parts < 2 {
		return ""
	}
	return ", in " + rows(parts) + " parts of " + rows(each)
}

// SweepProgress says in a few words how far a sweep is.
func SweepProgress(s *bowrollv1.Sweep) string {
	text := percentDone(s) + " % of " + rows(s.GetRowCount()) + " rows"
	if s.LeftS != nil {
		text += ", " + span(s.GetLeftS()) + " left"
	}
	return strings.ReplaceAll(text, hold, " ")
}

// Sweeps draws the sweeps of a site, one line each.
func Sweeps(w io.Writer, style Style, site string, list []*bowrollv1.Sweep) error {
	p := newPage(style)
	p.heading("SWEEPS OF "+strings.ToUpper(short(site)), "times in UTC")
	if len(list) == 0 {
		p.paragraph(tonePlain, "None.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Sweep", least: 8}, {head: "For people", least: 10, rank: 3}, {head: "State"}, {head: "Rows", right: true},
		{head: "Done", under: "%", right: true}, {head: "May go", right: true, rank: 1}, {head: "Refused", right: true, rank: 2},
		{head: "Left", right: true}, {head: "Created", least: 10, rank: 4}, {head: "Why", least: 8, rank: 5},
	}}
	for _, s := range list {
		t.row(cell{text: short(s.GetName()), tone: toneTitle}, cell{text: orNone(s.GetDisplayName())}, sweepState(s.GetState()),
			cell{text: rows(s.GetRowCount())}, cell{text: percentDone(s)}, cell{text: rows(s.GetGoesCount())},
			cell{text: rows(s.GetRefusedCount())}, cell{text: given(s.LeftS, span)}, cell{text: instant(s.GetCreateTime())}, cell{text: clean(s.GetReason())})
	}
	p.table(t)
	return p.write(w)
}

// percentDone draws what is done of a sweep, rounded down: 100.0 is all of it.
func percentDone(s *bowrollv1.Sweep) string {
	return fixed(math.Floor(1000*float64(s.GetRowDoneCount())/float64(max(1, s.GetRowCount())))/10, 1)
}

// Sweep draws one sweep: what it computes, where it stands, what its rows say.
func Sweep(w io.Writer, style Style, s *bowrollv1.Sweep) error {
	p := newPage(style)
	const at = 12
	p.heading("SWEEP "+strings.ToUpper(short(s.GetName())), clean(s.GetDisplayName()))
	state := sweepState(s.GetState())
	if s.GetReason() != "" {
		state.text += ": " + clean(s.GetReason())
	}
	p.labelled(toneQuiet, "State", state.tone, state.text, at)
	done := rows(s.GetRowDoneCount()) + " of " + rows(s.GetRowCount()) + " rows" + inParts(s.GetChunkCount(), s.GetChunkRowCount())
	if s.LeftS != nil {
		done += "; about " + span(s.GetLeftS()) + " left"
	}
	p.labelled(toneQuiet, "Done", tonePlain, done, at)
	if s.GetRowDoneCount() > 0 {
		p.labelled(toneQuiet, "May go", tonePlain, rows(s.GetGoesCount())+" ("+percent(float64(s.GetGoesCount())/float64(s.GetRowDoneCount()))+" of them)", at)
	}
	if s.GetRowDoneCount() > 0 {
		p.labelled(toneQuiet, "Took", tonePlain, span(s.GetCpuS())+" of processor time, "+Bytes(s.GetResultBytes())+" kept", at)
	}
	if s.GetRefusedCount() > 0 {
		p.labelled(toneQuiet, "Refused", toneCare, rows(s.GetRefusedCount())+"; each such row says why", at)
	}
	created := instant(s.GetCreateTime()) + " UTC"
	if s.GetEndTime() != nil {
		created += ", ended " + instant(s.GetEndTime()) + " UTC"
	}
	p.labelled(toneQuiet, "Created", tonePlain, created, at)
	p.labelled(toneQuiet, "Etag", toneQuiet, s.GetEtag(), at)
	if s.GetSpec() != nil {
		p.axes(s.GetSpec())
	}
	p.gap()
	p.paragraph(toneQuiet, "Computed with model "+orNone(s.GetPinned().GetModelVersion())+", catalog "+orNone(s.GetPinned().GetCatalogRevision())+
		", request "+orNone(s.GetPinned().GetRequestDigest()), 0)
	return p.write(w)
}

// axes draws what varies in a sweep, in the units of the contract, which its rows
// have too.
func (p *page) axes(spec *bowrollv1.SweepSpec) {
	p.heading("WHAT VARIES", SweepMethod(spec)+"; values as in the rows, in SI")
	t := table{columns: []column{{head: "Field", least: 16}, {head: "Values", least: 20}}}
	for _, a := range spec.GetAxes() {
		t.row(cell{text: clean(a.GetField()), tone: toneTitle}, cell{text: clean(SweepAxis(a))})
	}
	p.table(t)
}

// SweepMethod says how the rows of a sweep are chosen.
func SweepMethod(spec *bowrollv1.SweepSpec) string {
	how := strings.ReplaceAll(word(spec.GetMethod()), "latin hypercube", "Latin hypercube")
	if spec.Seed != nil {
		how += ", seed " + digits(int(spec.GetSeed()))
	}
	return how
}

// SweepAxis says how an input varies, in the units of the contract.
func SweepAxis(a *bowrollv1.SweepAxis) string {
	const most = 8
	switch {
	case a.GetRange() != nil:
		return figure.Decimal(a.GetRange().GetFirstValue()) + " to " + figure.Decimal(a.GetRange().GetLastValue()) + ", " +
			plural(int(a.GetRange().GetCount()), "value", "values")
	case a.GetDistribution() != nil:
		d := a.GetDistribution()
		text := word(d.GetShape()) + ", " + figure.Decimal(d.GetLeastValue()) + " to " + figure.Decimal(d.GetGreatestValue())
		if d.MiddleValue != nil {
			text += ", middle " + figure.Decimal(d.GetMiddleValue())
		}
		if d.Sigma != nil {
			text += ", sigma " + figure.Decimal(d.GetSigma())
		}
		return text
	}
	list := append([]string(nil), a.GetWords()...)
	for _, v := range a.GetValues() {
		list = append(list, figure.Decimal(v))
	}
	if len(list) > most {
		return strings.Join(list[:most], "; ") + "; and " + plural(len(list)-most, "more", "more")
	}
	return strings.Join(list, "; ")
}

// SweepEstimate draws what a sweep would take.
func SweepEstimate(w io.Writer, style Style, e *bowrollv1.SweepEstimate) error {
	p := newPage(style)
	const at = 12
	p.heading("ESTIMATE", "from "+rows(e.GetProbeRowCount())+" rows computed")
	p.labelled(toneQuiet, "Rows", tonePlain, rows(e.GetRowCount())+inParts(e.GetChunkCount(), e.GetChunkRowCount()), at)
	p.labelled(toneQuiet, "Processor", tonePlain, "about "+span(e.GetCpuS())+" of one; workers share it, a part each", at)
	if e.ElapsedS != nil {
		p.labelled(toneQuiet, "Elapsed", tonePlain, "about "+span(e.GetElapsedS())+" with every worker of the service free", at)
	}
	p.labelled(toneQuiet, "Results", tonePlain, "about "+Bytes(e.GetResultBytes())+" in the store, "+plural(len(e.GetColumns()), "column", "columns"), at)
	if e.GetWaitingChunkCount() > 0 {
		p.labelled(toneQuiet, "Waiting", toneCare, plural(int(e.GetWaitingChunkCount()), "part", "parts")+" of other sweeps of the site come first", at)
	}
	if e.GetProbeRefusedCount() > 0 {
		p.labelled(toneQuiet, "Refused", toneCare, rows(e.GetProbeRefusedCount())+" of the rows computed; the first: "+e.GetProbeFault(), at)
	}
	return p.write(w)
}

// SweepFile draws what was written into a file.
func SweepFile(w io.Writer, style Style, file string, s *bowrollv1.SweepFileSummary) error {
	p := newPage(style)
	const at = 12
	p.labelled(toneQuiet, "Written", toneTitle, file, at)
	p.labelled(toneQuiet, "Rows", tonePlain, rows(s.GetRowCount())+"; "+rows(s.GetGoesCount())+" may go, "+rows(s.GetRefusedCount())+" refused", at)
	p.labelled(toneQuiet, "SHA-256", toneQuiet, s.GetSha256(), at)
	p.labelled(toneQuiet, "Computed", toneQuiet, "with model "+orNone(s.GetPinned().GetModelVersion())+", catalog "+orNone(s.GetPinned().GetCatalogRevision()), at)
	return p.write(w)
}
