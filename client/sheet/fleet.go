package sheet

import (
	"fmt"
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Fleet draws the plan of several decks: what all of them launch together, what
// goes from one to another, then each cycle. fleet is the request that was
// planned; it may be nil.
func Fleet(w io.Writer, style Style, fleet *bowrollv1.Fleet, plan *bowrollv1.FleetPlan) error {
	p := newPage(style)
	title := fleet.GetDisplayName()
	if title == "" {
		title = plan.GetId()
	}
	p.heading(strings.ToUpper(clean(title)), plural(len(plan.GetPlans()), "cycle", "cycles")+" planned together")
	off, held, asked := 0, 0, int(plan.GetObjective().GetPriorityLaunched())
	for _, c := range plan.GetPlans() {
		off, held = off+len(c.GetLaunches()), held+len(c.GetHeld())
		for _, h := range c.GetHeld() {
			asked += int(h.GetPriority())
		}
	}
	text := fmt.Sprintf("%d of %d launch: priority %d of %d with %s. ", off, off+held, plan.GetObjective().GetPriorityLaunched(), asked,
		plural(int(plan.GetObjective().GetUnitsUsed()), "unit", "units"))
	if plan.GetOptimal() {
		text += "Proven best: no plan of the fleet launches more, or as much with fewer units."
	} else {
		text += fmt.Sprintf("NOT PROVEN best: up to %s might be launched; the search stopped at its limit.", fixed(plan.GetBound(), 0))
	}
	p.paragraph(tonePlain, text, 0)
	p.transfers(plan.GetTransfers())
	p.text.WriteByte('\n')
	if err := p.write(w); err != nil {
		return err
	}
	for i, c := range plan.GetPlans() {
		var cycle *bowrollv1.Cycle
		if i < len(fleet.GetCycles()) {
			cycle = fleet.GetCycles()[i]
		}
		s := newPlanSheet(style, cycle, c)
		for _, lot := range elsewhere(fleet) {
			if s.lots[lot.GetId()] == nil {
				s.lots[lot.GetId()] = lot
			}
		}
		s.joint = true
		s.part()
		if i < len(plan.GetPlans())-1 {
			s.gap()
		}
		if err := s.write(w); err != nil {
			return err
		}
	}
	end := newPage(style)
	end.provenance(plan.GetProvenance())
	return end.write(w)
}

// elsewhere are the lots of pools and of other decks, which a transfer may bring.
func elsewhere(fleet *bowrollv1.Fleet) []*bowrollv1.Lot {
	var lots []*bowrollv1.Lot
	for _, pool := range fleet.GetPools() {
		lots = append(lots, pool.GetLots()...)
	}
	for _, cycle := range fleet.GetCycles() {
		lots = append(lots, cycle.GetLots()...)
	}
	return lots
}

func (p *page) transfers(list []*bowrollv1.TransferUse) {
	if len(list) == 0 {
		return
	}
	p.heading("TRANSFERS", "")
	t := table{columns: []column{
		{head: "From", least: 8}, {head: "To", least: 8}, {head: "Units", right: true}, {head: "At most", right: true}, {head: "Lots", least: 12},
	}}
	for _, use := range list {
		lots := none
		if len(use.GetDraws()) > 0 {
			lots = draws(use.GetDraws())
		}
		t.row(cell{clean(use.GetOrigin()), toneTitle}, cell{clean(use.GetDestination()), toneTitle},
			cell{text: digits(int(use.GetUnitCount()))}, cell{text: digits(int(use.GetMostCount()))}, cell{text: lots})
	}
	p.table(t)
}
