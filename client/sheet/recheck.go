package sheet

import (
	"fmt"
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Rechecked draws the cards of a plan held against what is measured now.
func Rechecked(w io.Writer, style Style, plan string, voided bool, a *bowrollv1.RecheckPlanResponse) error {
	p := newPage(style)
	p.heading("CARDS OF "+strings.ToUpper(short(plan)), fmt.Sprintf("%d hold, %d void", a.GetHoldsCount(), a.GetVoidCount()))
	if len(a.GetCards()) == 0 {
		p.paragraph(tonePlain, "No card is out.", 0)
		return p.write(w)
	}
	for _, card := range a.GetCards() {
		title := fmt.Sprintf("%s, card %d: ", clean(card.GetSortie()), card.GetCardRevision())
		p.gap()
		if card.GetHolds() {
			p.paragraph(toneGood, title+"HOLDS", 0)
		} else {
			p.paragraph(toneBad, title+"VOID", 0)
		}
		for _, side := range card.GetSides() {
			_, measured := sideQuantities[side.GetQuantity()]
			switch {
			case side.GetHolds():
				p.paragraph(toneQuiet, "  holds    "+p.boxSide(side), 11)
			case measured && side.Value == nil:
				p.paragraph(toneBad, "  unknown  "+p.boxSide(side), 11)
			default:
				p.paragraph(toneBad, "  crossed  "+p.boxSide(side), 11)
			}
		}
	}
	p.gap()
	if a.GetVoidCount() > 0 && !voided {
		p.paragraph(toneCare, "Nothing was changed: --void voids the cards that do not hold, for good.", 0)
	}
	return p.write(w)
}

// sideQuantities are the inputs of a box with the words and the units that people
// use for them.
var sideQuantities = map[string]struct {
	word string
	kind measure
}{
	"headwind_mps": {"headwind", speed}, "crosswind_mps": {"crosswind", speed}, "gross_mass_kg": {"mass without units", mass},
	"temperature_c": {"air", temperature}, "grain_temperature_c": {"grain", temperature}, "spot_m": {"distance from the spot", length},
}

// boxSide says one side of a box in the units of the page.
func (p *page) boxSide(side *bowrollv1.BoxSide) string {
	q, ok := sideQuantities[side.GetQuantity()]
	if !ok {
		return clean(strings.TrimPrefix(strings.TrimSuffix(side.GetText(), "."), "Holds "))
	}
	permitted := p.inside(q.kind, side.Least, side.Greatest)
	if side.Value == nil {
		return q.word + " is not known and must be " + permitted
	}
	text := q.word + " " + p.measured(q.kind, side.GetValue())
	if side.GetHolds() {
		return text + "; permitted " + permitted
	}
	return text + ", must be " + permitted
}
