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
		s.labelled(toneTitle, label(h), tonePlain, s.holdText(h), at)
		if text := s.releases(h.GetReleases()); text != "" {
			s.labelled(tonePlain, "", toneCare, "Launches with "+text+".", at)
		}
	}
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
		with = "with " + draws(best.GetDraws())
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

// nearest returns the option that would have served best: one that is usable
// before one that is not, then the one with the greatest margin.
func nearest(h *bowrollv1.HeldSortie) *bowrollv1.FitOption {
	var best *bowrollv1.FitOption
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

// releases says what single changes would launch a sortie.
func (s *planSheet) releases(changes []*bowrollv1.Change) string {
	var parts []string
	for _, c := range changes {
		parts = append(parts, s.change(c))
	}
	return strings.Join(parts, ", or ")
}

// change says one change in the units of the page.
func (p *page) change(c *bowrollv1.Change) string {
	amount := math.Abs(c.GetChange())
	more := "more"
	if c.GetChange() < 0 {
		more = "less"
	}
	switch c.GetQuantity() {
	case "headwind_mps":
		return p.measured(speed, amount) + " " + more + " headwind"
	case "gross_mass_kg":
		return p.measured(mass, amount) + " " + more + " mass"
	case "available_m":
		return p.measured(length, amount) + " " + more + " run"
	case "unit_count":
		if amount == 1 {
			return "1 unit " + more
		}
		return fixed(amount, 0) + " units " + more
	}
	return clean(c.GetText())
}

// stock draws what the plan takes from each lot.
func (s *planSheet) stock() {
	if len(s.plan.GetLots()) == 0 {
		return
	}
	lots := map[string]*bowrollv1.Lot{}
	for _, l := range s.cycle.GetLots() {
		lots[l.GetId()] = l
	}
	s.heading("STOCK", "")
	t := table{columns: []column{
		{head: "Lot", least: 6},
		{head: "Type", least: 8},
		{head: "Expires", rank: 1},
		{head: "Grain", right: true, rank: 2},
		{head: "Before", right: true},
		{head: "Used", right: true},
		{head: "After", right: true},
		{head: "Not for use", least: 12},
	}}
	before, used, after := 0, 0, 0
	for _, l := range s.plan.GetLots() {
		expires, grain := none, none
		if lot := lots[l.GetLot()]; lot != nil {
			if lot.GetExpireTime() != nil {
				expires = lot.GetExpireTime().AsTime().Format("2 Jan 2006")
			}
			grain = s.givenMeasured(temperature, lot.GrainTemperatureC)
		}
		t.row(
			cell{text: clean(l.GetLot()), tone: toneTitle},
			cell{text: short(clean(l.GetBoosterType()))},
			cell{text: expires}, cell{text: grain},
			cell{text: digits(int(l.GetBeforeCount()))},
			cell{text: digits(int(l.GetUsedCount()))},
			cell{text: digits(int(l.GetAfterCount()))},
			cell{text: clean(l.GetBarred()), tone: toneCare},
		)
		before, used, after = before+int(l.GetBeforeCount()), used+int(l.GetUsedCount()), after+int(l.GetAfterCount())
	}
	if len(s.plan.GetLots()) > 1 {
		t.row(plain("all", "", "", "", digits(before), digits(used), digits(after), "")...)
	}
	s.table(t)
}
