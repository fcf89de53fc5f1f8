package sheet

import (
	"fmt"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// spots says what trading spots brings.
func (s *planSheet) spots() {
	r := s.plan.GetRespotting()
	if r == nil {
		return
	}
	s.heading("SPOTS", "")
	if len(r.GetMoves()) == 0 {
		s.paragraph(tonePlain, "No trade of spots is better than the order given.", 0)
		return
	}
	var moves []string
	for _, m := range r.GetMoves() {
		to := m.GetToSpot()
		if to == "" {
			to = "struck clear"
		}
		moves = append(moves, fmt.Sprintf("%s from %s to %s", clean(m.GetSortie()), clean(m.GetFromSpot()), clean(to)))
	}
	s.paragraph(tonePlain, "Move "+strings.Join(moves, ", ")+".", 2)
	if r.GetGiven() == nil {
		s.paragraph(toneCare, "The order given cannot stand: wings would meet, or held aircraft would be in the way.", 2)
		return
	}
	text := fmt.Sprintf("In the order given: priority %d with %s. Trading ", r.GetGiven().GetPriorityLaunched(),
		plural(int(r.GetGiven().GetUnitsUsed()), "unit", "units"))
	switch gained, saved := int(r.GetPriorityGained()), int(r.GetUnitsSaved()); {
	case gained > 0 && saved == 0:
		text += fmt.Sprintf("launches %d more priority with as many.", gained)
	case gained > 0 && saved > 0:
		text += fmt.Sprintf("launches %d more priority with %s fewer.", gained, plural(saved, "unit", "units"))
	case gained > 0:
		text += fmt.Sprintf("launches %d more priority with %s more.", gained, plural(-saved, "unit", "units"))
	case saved > 0:
		text += fmt.Sprintf("saves %s.", plural(saved, "unit", "units"))
	default:
		text += "gains in expiry or margin alone."
	}
	if !r.GetGivenOptimal() {
		text += " The order given was not searched to the end."
	}
	s.paragraph(toneGood, text, 2)
}

// replan says which cards of an earlier plan hold and which are void.
func (s *planSheet) replan() {
	r := s.plan.GetReplan()
	if r == nil {
		return
	}
	s.heading("CARDS OF THE EARLIER PLAN", "")
	if len(r.GetVoidCards()) == 0 {
		s.paragraph(toneGood, fmt.Sprintf("All %d hold.", len(r.GetKept())), 0)
	} else {
		s.paragraph(tonePlain, fmt.Sprintf("%d hold, %d void.", len(r.GetKept()), len(r.GetVoidCards())), 0)
	}
	at := 0
	for _, v := range r.GetVoidCards() {
		at = max(at, columns("VOID  "+clean(v.GetSortie()))+2)
	}
	for _, v := range r.GetVoidCards() {
		s.labelled(toneBad, "VOID  "+clean(v.GetSortie()), tonePlain, strings.Join(v.GetReasons(), "; ")+".", min(at, s.style.Width/3))
	}
	if len(r.GetAdded()) > 0 {
		s.paragraph(tonePlain, "New: "+strings.Join(r.GetAdded(), ", ")+".", 0)
	}
}

// prices says what more means would buy.
func (s *planSheet) prices() {
	if len(s.plan.GetPrices()) == 0 {
		return
	}
	s.heading("WHAT MORE WOULD BUY", "each planned anew")
	t := table{columns: []column{
		{head: "More", least: 16},
		{head: "Priority", right: true},
		{head: "Units", right: true},
		{head: "Rank", right: true, rank: 3},
		{head: "Margin", under: s.unit(length), right: true, rank: 2},
		{head: "Ends", under: "sooner", right: true, rank: 1},
		{head: "Launches", least: 14},
	}}
	for _, p := range s.plan.GetPrices() {
		launches := strings.Join(p.GetLaunched(), ", ")
		if len(p.GetDropped()) > 0 {
			launches = strings.TrimPrefix(launches+"; not "+strings.Join(p.GetDropped(), ", "), "; ")
		}
		if !p.GetProven() {
			launches = strings.TrimSpace(launches + " (not proven)")
		}
		if launches == "" {
			launches = none
		}
		priority := cell{text: signed(int(p.GetGain().GetPriorityLaunched()))}
		if p.GetGain().GetPriorityLaunched() > 0 {
			priority.tone = toneGood
		}
		t.row(cell{text: clean(p.GetChange().GetText())}, priority, cell{text: signed(int(p.GetGain().GetUnitsUsed()))},
			cell{text: signed(int(p.GetGain().GetExpiryRank()))}, cell{text: s.number(length, p.GetGain().GetMarginM())}, cell{text: given(p.SpanSavedS, minutes)}, cell{text: launches})
	}
	s.table(t)
}

// signed draws a difference, 0 as a dash.
func signed(n int) string {
	if n == 0 {
		return none
	}
	return fmt.Sprintf("%+d", n)
}

// binding says in one paragraph what the plan has used up.
func (s *planSheet) binding() {
	var parts []string
	for _, r := range s.plan.GetReserves() {
		parts = append(parts, fmt.Sprintf("%s of %s kept back for the duds among %d.", plural(int(r.GetUnitCount()), "unit", "units"),
			short(clean(r.GetBoosterType())), r.GetForCount()))
	}
	for _, b := range s.plan.GetBindings() {
		if b.GetKind() != bowrollv1.BindingKind_BINDING_KIND_SPOT {
			parts = append(parts, s.bindingText(b))
		}
	}
	if len(parts) > 0 {
		s.paragraph(tonePlain, strings.Join(parts, " "), 0)
	}
}

func (s *planSheet) bindingText(b *bowrollv1.Binding) string {
	if b.GetKind() == bowrollv1.BindingKind_BINDING_KIND_CREWS && b.FromS != nil && b.ToS != nil {
		return fmt.Sprintf("The crews have no time for another unit between the launches at %s and %s.", clock(s.start, b.GetFromS()), clock(s.start, b.GetToS()))
	}
	return clean(b.GetText())
}
