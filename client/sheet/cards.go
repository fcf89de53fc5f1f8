package sheet

import (
	"io"
	"strings"

	"bowroll/client/sheet/card"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Cards lists the launch cards of a plan that is kept: what each is read back by,
// until when it holds, and why one does not.
func Cards(w io.Writer, style Style, plan *bowrollv1.Plan, cards []card.Card) error {
	p := newPage(style)
	p.heading("LAUNCH CARDS OF "+strings.ToUpper(short(plan.GetName())), "times in UTC")
	if len(cards) == 0 {
		p.paragraph(tonePlain, "No sortie launches.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Slot"}, {head: "Sortie", least: 8}, {head: "Card", least: 9, rank: 2}, {head: "Rev.", right: true},
		{head: "Read back"}, {head: "Void after"}, {head: "Stands", least: 18}, {head: "Issued by", least: 6, rank: 1},
	}}
	for _, c := range cards {
		revision, digest, until := none, c.Digest, c.VoidAfter.UTC().Format("15:04")
		if c.Revision != nil {
			revision = digits(*c.Revision)
		}
		stands := cell{"holds inside its box", toneGood}
		if c.Since != nil && len(c.Since.Changed) > 0 {
			stands = cell{"CATALOG CHANGED since: see the card", toneBad}
		}
		switch {
		case len(c.Refusals) > 0:
			stands, digest, until = cell{"REFUSED: " + strings.Join(c.Refusals, " "), toneBad}, none, none
		case len(c.Voids) > 0:
			stands = cell{"VOID: " + strings.Join(c.Voids, "; "), toneBad}
		}
		stands.text = clean(stands.text)
		t.row(cell{text: c.Slot.UTC().Format("15:04")}, cell{text: clean(c.Sortie), tone: toneTitle}, cell{text: clean(c.ID)}, cell{text: revision},
			cell{text: digest}, cell{text: until}, stands, cell{text: clean(orNone(c.IssuedBy))})
	}
	p.table(t)
	return p.write(w)
}
