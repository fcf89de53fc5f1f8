package sheet

import (
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// instant draws an instant to the minute, in UTC.
func instant(at *timestamppb.Timestamp) string {
	if at == nil {
		return none
	}
	return at.AsTime().UTC().Format("2 Jan 2006 15:04")
}

// day draws the day of an instant, in UTC.
func day(at *timestamppb.Timestamp) string {
	if at == nil {
		return none
	}
	return at.AsTime().UTC().Format("2 Jan 2006")
}

// onDay draws the time of day of an instant, with its day where that is another
// than of.
func onDay(of, at *timestamppb.Timestamp) string {
	if at == nil || day(of) != day(at) {
		return instant(at)
	}
	return at.AsTime().UTC().Format("15:04")
}

// gone are the states of units that are no longer on hand.
func gone(s bowrollv1.UnitState) bool {
	switch s {
	case bowrollv1.UnitState_UNIT_STATE_EXPENDED, bowrollv1.UnitState_UNIT_STATE_DISPOSED, bowrollv1.UnitState_UNIT_STATE_LOST:
		return true
	}
	return false
}

// Stock draws the lots of a site with what is left of each.
func Stock(w io.Writer, style Style, site string, lots []*bowrollv1.StockLot, counts *bowrollv1.SummarizeStockResponse) error {
	p := newPage(style)
	p.heading("STOCK OF "+strings.ToUpper(short(site)), "units")
	if len(lots) == 0 {
		p.paragraph(tonePlain, "No lots.", 0)
		return p.write(w)
	}
	by := map[string]map[bowrollv1.UnitState]int{}
	for _, c := range counts.GetCounts() {
		if by[c.GetLot()] == nil {
			by[c.GetLot()] = map[bowrollv1.UnitState]int{}
		}
		by[c.GetLot()][c.GetState()] += int(c.GetUnitCount())
	}
	t := table{columns: []column{
		{head: "Lot", least: 6}, {head: "Type", least: 8}, {head: "Expires", rank: 1},
		{head: "Avail-", under: "able", right: true}, {head: "Held", right: true}, {head: "Arriv-", under: "ing", right: true, rank: 2},
		{head: "Barred", right: true}, {head: "Gone", right: true, rank: 3}, {head: "Not for use", least: 12},
	}}
	for _, l := range lots {
		kind := short(l.GetType())
		if l.GetKind() == bowrollv1.LotKind_LOT_KIND_IGNITER {
			kind += " igniter"
		}
		var available, held, arriving, barred, away int
		for state, n := range by[short(l.GetName())] {
			switch {
			case state == bowrollv1.UnitState_UNIT_STATE_AVAILABLE:
				available += n
			case state >= bowrollv1.UnitState_UNIT_STATE_RESERVED && state <= bowrollv1.UnitState_UNIT_STATE_ARMED:
				held += n
			case state == bowrollv1.UnitState_UNIT_STATE_RECEIVED, state == bowrollv1.UnitState_UNIT_STATE_INSPECTED, state == bowrollv1.UnitState_UNIT_STATE_RETURNED:
				arriving += n
			case gone(state):
				away += n
			default:
				barred += n
			}
		}
		why := ""
		if l.GetSuspended() != "" {
			why = "suspended: " + clean(l.GetSuspended())
		}
		t.row(cell{text: short(l.GetName()), tone: toneTitle}, cell{text: clean(kind)}, cell{text: day(l.GetExpireTime())},
			cell{text: digits(available)}, cell{text: digits(held)}, cell{text: digits(arriving)}, cell{text: digits(barred)},
			cell{text: digits(away)}, cell{text: why, tone: toneBad})
	}
	p.table(t)
	p.gap()
	p.paragraph(tonePlain, fmt.Sprintf("%s on the ledger, %d of them available.",
		plural(int(counts.GetUnitCount()), "unit", "units"), counts.GetAvailableCount()), 0)
	p.paragraph(toneQuiet, "Held: promised to a sortie, out, fitted or armed. Arriving: received, inspected or returned, not accepted yet. Barred: quarantined, misfired, hung up or condemned. Gone: expended, disposed of or lost.", 0)
	return p.write(w)
}

// unitTable is the table that lists of units share.
func (p *page) unitTable(units []*bowrollv1.Unit) {
	t := table{columns: []column{
		{head: "Unit", least: 6}, {head: "Lot", rank: 2}, {head: "State", least: 8}, {head: "Place", least: 6},
		{head: "Usable until", rank: 1}, {head: "Held for", least: 8}, {head: "Why", least: 8, rank: 3},
	}}
	for _, u := range units {
		kept := none
		if u.GetPlan() != "" {
			kept = short(u.GetPlan()) + " " + u.GetSortie()
		}
		state := cell{text: word(u.GetState())}
		switch u.GetState() {
		case bowrollv1.UnitState_UNIT_STATE_AVAILABLE:
			state.tone = toneGood
		case bowrollv1.UnitState_UNIT_STATE_QUARANTINED, bowrollv1.UnitState_UNIT_STATE_MISFIRED, bowrollv1.UnitState_UNIT_STATE_HUNG_UP,
			bowrollv1.UnitState_UNIT_STATE_CONDEMNED, bowrollv1.UnitState_UNIT_STATE_LOST:
			state.tone = toneCare
		}
		why := u.GetCause()
		if u.GetWaitUntilTime() != nil {
			why += ", stay away until " + instant(u.GetWaitUntilTime())
		}
		t.row(cell{text: short(u.GetName()), tone: toneTitle}, cell{text: short(u.GetLot())}, state, cell{text: orNone(u.GetPlace())},
			cell{text: instant(u.GetUsableUntilTime())}, cell{text: kept}, cell{text: strings.ReplaceAll(clean(why), "_", " ")})
	}
	p.table(t)
}

// Units draws units of a site, one line each.
func Units(w io.Writer, style Style, site string, units []*bowrollv1.Unit) error {
	p := newPage(style)
	p.heading("UNITS OF "+strings.ToUpper(short(site)), "times in UTC")
	if len(units) == 0 {
		p.paragraph(tonePlain, "None.", 0)
		return p.write(w)
	}
	p.unitTable(units)
	p.gap()
	p.paragraph(tonePlain, plural(len(units), "unit", "units")+".", 0)
	return p.write(w)
}

// Reconciled draws the units of a lot as settling a count leaves them; checked says
// that nothing was written.
func Reconciled(w io.Writer, style Style, lot string, units []*bowrollv1.Unit, checked bool) error {
	p := newPage(style)
	p.heading("COUNT OF "+strings.ToUpper(short(lot))+" SETTLED", "times in UTC")
	p.unitTable(units)
	p.gap()
	if checked {
		p.paragraph(tonePlain, plural(len(units), "unit", "units")+" would be settled; nothing was written.", 0)
		return p.write(w)
	}
	p.paragraph(tonePlain, plural(len(units), "unit", "units")+" settled. Count again to see that the ledger agrees.", 0)
	for _, u := range units {
		if u.GetState() == bowrollv1.UnitState_UNIT_STATE_QUARANTINED {
			p.paragraph(toneCare, "What turned up is quarantined: only a named authority returns it to use.", 0)
			break
		}
	}
	return p.write(w)
}

// Moved draws units as the steps just taken leave them; checked says that
// nothing was written.
func Moved(w io.Writer, style Style, site string, units []*bowrollv1.Unit, checked bool) error {
	p := newPage(style)
	p.heading("UNITS OF "+strings.ToUpper(short(site)), "times in UTC")
	p.unitTable(units)
	p.gap()
	p.paragraph(tonePlain, plural(len(units), "step", "steps")+done(checked), 0)
	return p.write(w)
}

func done(checked bool) string {
	if checked {
		return " would be taken; nothing was written."
	}
	return " taken."
}

// Imported says what a file of steps led to.
func Imported(w io.Writer, style Style, site string, a *bowrollv1.ImportMovementsResponse, checked bool) error {
	p := newPage(style)
	p.paragraph(tonePlain, fmt.Sprintf("%s: %s%s %s received.", short(site), plural(int(a.GetStepCount()), "step", "steps"),
		done(checked), upperFirst(plural(int(a.GetReceivedCount()), "unit", "units"))), 0)
	return p.write(w)
}

// Lot draws one lot.
func Lot(w io.Writer, style Style, l *bowrollv1.StockLot) error {
	p := newPage(style)
	p.lot(l)
	return p.write(w)
}

func (p *page) lot(l *bowrollv1.StockLot) {
	const at = 12
	p.heading("LOT "+strings.ToUpper(short(l.GetName())), clean(l.GetDisplayName()))
	kind := word(l.GetKind())
	p.labelled(toneQuiet, "Type", tonePlain, short(l.GetType())+", "+kind, at)
	p.labelled(toneQuiet, "Received", tonePlain, plural(int(l.GetReceivedCount()), "unit", "units")+" in all", at)
	p.labelled(toneQuiet, "Expires", tonePlain, instant(l.GetExpireTime())+" UTC", at)
	p.labelled(toneQuiet, "Stow at", tonePlain, p.between(l.StowageLeastC, l.StowageGreatestC), at)
	if l.GetIgniterType() != "" {
		p.labelled(toneQuiet, "Igniter", tonePlain, l.GetIgniterType()+", fitted last", at)
	}
	if l.MisfireWaitS != nil {
		p.labelled(toneQuiet, "Misfire", tonePlain, "stay away for "+(time.Duration(l.GetMisfireWaitS())*time.Second).String(), at)
	} else if l.GetKind() == bowrollv1.LotKind_LOT_KIND_BOOSTER {
		p.labelled(toneQuiet, "Misfire", toneCare, "waiting time not known: nobody may approach without an authority", at)
	}
	if l.GetSuspended() != "" {
		p.labelled(toneQuiet, "SUSPENDED", toneBad, clean(l.GetSuspended()), at)
	}
	p.labelled(toneQuiet, "Etag", toneQuiet, l.GetEtag(), at)
}

// Suspended draws a lot that was just suspended and what that voided.
func Suspended(w io.Writer, style Style, a *bowrollv1.SuspendLotResponse) error {
	p := newPage(style)
	if a.GetLot() != nil {
		p.lot(a.GetLot())
		p.gap()
	}
	if len(a.GetVoidedSorties()) == 0 {
		p.paragraph(tonePlain, "No card that is out holds one of its units.", 0)
		return p.write(w)
	}
	p.paragraph(toneBad, "VOID: the cards of "+strings.Join(a.GetVoidedSorties(), ", ")+".", 6)
	return p.write(w)
}

// Count draws what a count found against the ledger.
func Count(w io.Writer, style Style, lot, place string, a *bowrollv1.CountLotResponse) error {
	p := newPage(style)
	const at = 12
	p.heading("COUNT OF "+strings.ToUpper(short(lot)), clean(place))
	p.labelled(toneQuiet, "Ledger", tonePlain, plural(int(a.GetExpectedCount()), "unit", "units"), at)
	p.labelled(toneQuiet, "Seen", tonePlain, plural(int(a.GetSeenCount()), "unit", "units"), at)
	for _, d := range []struct {
		label string
		units []string
	}{{"Missing", a.GetMissing()}, {"Misplaced", a.GetMisplaced()}, {"Unknown", a.GetUnknown()}} {
		if len(d.units) > 0 {
			p.labelled(toneBad, d.label, tonePlain, strings.Join(d.units, ", "), at)
		}
	}
	p.gap()
	if len(a.GetMissing())+len(a.GetMisplaced())+len(a.GetUnknown()) == 0 {
		p.paragraph(toneGood, "The count agrees with the ledger.", 0)
		return p.write(w)
	}
	p.paragraph(toneBad, "The count DIFFERS from the ledger. The differences are recorded; no unit was changed: stock reconcile settles them.", 0)
	return p.write(w)
}
