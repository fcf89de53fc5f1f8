package sheet

import (
	"fmt"
	"io"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// CatalogDiff draws what differs between two revisions of the catalog.
func CatalogDiff(w io.Writer, style Style, d *bowrollv1.CatalogDiff) error {
	p := newPage(style)
	p.heading("CATALOG", d.GetFromRevision()+" to "+d.GetToRevision())
	if len(d.GetChanges()) == 0 {
		p.paragraph(tonePlain, "Nothing differs.", 0)
		return p.write(w)
	}
	counts := map[bowrollv1.DiffKind]int{}
	for _, c := range d.GetChanges() {
		counts[c.GetKind()]++
		mark, tone := "~", toneCare
		switch c.GetKind() {
		case bowrollv1.DiffKind_DIFF_KIND_ADDED:
			mark, tone = "+", toneGood
		case bowrollv1.DiffKind_DIFF_KIND_REMOVED:
			mark, tone = "-", toneBad
		}
		p.paragraph(tone, mark+" "+word(c.GetKind())+" "+clean(c.GetName()), 2)
		for _, f := range c.GetFields() {
			p.labelled(tonePlain, "", tonePlain, fmt.Sprintf("%s: %s to %s", f.GetField(), orNone(f.GetBefore()), orNone(f.GetAfter())), 4)
		}
	}
	p.gap()
	text := fmt.Sprintf("%d added, %d changed, %d removed.", counts[bowrollv1.DiffKind_DIFF_KIND_ADDED],
		counts[bowrollv1.DiffKind_DIFF_KIND_CHANGED], counts[bowrollv1.DiffKind_DIFF_KIND_REMOVED])
	if d.GetValidateOnly() {
		text += " Only checked; nothing was written."
	}
	p.paragraph(tonePlain, text, 0)
	return p.write(w)
}

// CatalogRevisions draws the changes of the catalog, the newest first.
func CatalogRevisions(w io.Writer, style Style, a *bowrollv1.ListCatalogRevisionsResponse) error {
	p := newPage(style)
	p.heading("REVISIONS OF THE CATALOG", "times in UTC, the newest first")
	t := table{columns: []column{{head: "No.", right: true}, {head: "Revision"}, {head: "Time", rank: 1}, {head: "Who", least: 6}, {head: "Why", least: 12}}}
	for _, r := range a.GetRevisions() {
		t.row(plain(digits(int(r.GetSequence())), r.GetRevision(), instant(r.GetTime()), orNone(r.GetActor()), orNone(r.GetReason()))...)
	}
	p.table(t)
	return p.write(w)
}
