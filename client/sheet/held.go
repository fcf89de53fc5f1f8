package sheet

import (
	"fmt"
	"math"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// held says of each sortie that stays why, and what would launch it.
func (s *planSheet) held() {
	if len(s.plan.GetHeld()) == 0 {
		return
	}
	s.heading("HELD", "")
	at := 0
	label := func(h *bowrollv1.HeldSortie) string {
		return strings.TrimRight(fmt.Sprintf("%2d  %s  %s", h.GetOrder(), clean(h.GetSortie()), clean(h.GetSpot())), " ")
	}
	for _, h := range s.plan.GetHeld() {
		at = max(at, columns(label(h))+2)
	}
	at = min(at, s.style.Width/3)
	for _, h := range s.plan.GetHeld() {
		s.labelled(toneTitle, label(h), tonePlain, s.who(h)+s.holdText(h), at)
		if text := s.changes(h.GetReleases()); text != "" {
			s.labelled(tonePlain, "", toneCare, "Would launch with "+text+".", at)
		}
	}
}

// who says what a held sortie is for and what it is worth.
func (s *planSheet) who(h *bowrollv1.HeldSortie) string {
	text := fmt.Sprintf("priority %d. ", h.GetPriority())
	if name := s.sorties[h.GetSortie()].GetDisplayName(); name != "" {
		return name + ", " + text
	}
	return upperFirst(text)
}

// holdText says why a sortie is held, with the numbers of the option that comes
// nearest where the answer carries options.
func (s *planSheet) holdText(h *bowrollv1.HeldSortie) string {
	var reason string
	switch h.GetReason() {
	case bowrollv1.HoldReason_HOLD_REASON_NO_USABLE_FIT:
		reason = "No permitted fit gets it off"
	case bowrollv1.HoldReason_HOLD_REASON_STOCK:
		reason = "It could go, but its units go to launches worth more"
	case bowrollv1.HoldReason_HOLD_REASON_CREWS:
		reason = "It could go, but the crews cannot fit it in time"
	default:
		return clean(h.GetText())
	}
	best := nearest(h)
	if best == nil {
		return reason + "."
	}
	with := "without units"
	if best.GetUnitCount() > 0 {
		with = "with " + units(best.GetDraws())
	}
	if best.RequiredRunM == nil {
		return fmt.Sprintf("%s: %s it %s.", reason, with, word(best.GetOutcome()))
	}
	text := fmt.Sprintf("%s: %s it needs %s of %s", reason, with,
		s.measured(length, best.GetRequiredRunM()), s.measured(length, h.GetAvailableM()))
	if short := best.GetRequiredRunM() - h.GetAvailableM(); short > 0 {
		return text + fmt.Sprintf(", %s too long.", s.measured(length, short))
	}
	if best.GetUsable() {
		return text + "."
	}
	return text + fmt.Sprintf(", but %s.", word(best.GetOutcome()))
}

// units says in a sentence which units a fit takes.
func units(list []*bowrollv1.Draw) string {
	var parts []string
	for _, d := range list {
		parts = append(parts, plural(int(d.GetUnitCount()), "unit", "units")+" of "+clean(d.GetLot()))
	}
	return strings.Join(parts, " and ")
}

// nearest returns the option that would have served best: one that is usable
// before one that is not, then the one with the greatest margin.
func nearest(h *bowrollv1.HeldSortie) *bowrollv1.FitOption {
	best := h.GetNearest()
	if best != nil {
		return best
	}
	rank := func(o *bowrollv1.FitOption) float64 {
		if o.MarginM == nil {
			return math.Inf(-1)
		}
		return o.GetMarginM()
	}
	for _, o := range h.GetOptions() {
		switch {
		case best == nil, o.GetUsable() && !best.GetUsable():
			best = o
		case o.GetUsable() == best.GetUsable() && rank(o) > rank(best):
			best = o
		}
	}
	return best
}
