package sheet

import (
	"io"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// planState draws where a plan stands.
func planState(s bowrollv1.PlanState) cell {
	switch s {
	case bowrollv1.PlanState_PLAN_STATE_CONFIRMED, bowrollv1.PlanState_PLAN_STATE_CLOSED:
		return cell{word(s), toneGood}
	case bowrollv1.PlanState_PLAN_STATE_EXPIRED, bowrollv1.PlanState_PLAN_STATE_CANCELLED:
		return cell{word(s), toneCare}
	}
	return cell{text: word(s)}
}

// Plans draws the plans of a site, one line each.
func Plans(w io.Writer, style Style, site string, plans []*bowrollv1.Plan) error {
	p := newPage(style)
	p.heading("PLANS OF "+strings.ToUpper(short(site)), "times in UTC")
	if len(plans) == 0 {
		p.paragraph(tonePlain, "None.", 0)
		return p.write(w)
	}
	t := table{columns: []column{
		{head: "Plan", least: 8}, {head: "For people", least: 10, rank: 2}, {head: "State"}, {head: "Sorties", right: true},
		{head: "Launched", right: true}, {head: "Units", right: true, rank: 1}, {head: "Held until", least: 10}, {head: "Why", least: 8, rank: 3},
	}}
	for _, plan := range plans {
		launched, units := 0, 0
		for _, s := range plan.GetSorties() {
			if s.GetState() == bowrollv1.SortieState_SORTIE_STATE_LAUNCHED {
				launched++
			}
			for _, d := range s.GetDraws() {
				units += int(d.GetUnitCount())
			}
		}
		t.row(cell{text: short(plan.GetName()), tone: toneTitle}, cell{text: orNone(plan.GetDisplayName())}, planState(plan.GetState()),
			cell{text: digits(len(plan.GetSorties()))}, cell{text: digits(launched)}, cell{text: digits(units)},
			cell{text: instant(plan.GetHoldUntilTime())}, cell{text: clean(plan.GetReason())})
	}
	p.table(t)
	return p.write(w)
}

// KeptPlan draws a plan that is kept: where it stands, and its sorties with
// their units and cards.
func KeptPlan(w io.Writer, style Style, plan *bowrollv1.Plan) error {
	p := newPage(style)
	const at = 12
	p.heading("PLAN "+strings.ToUpper(short(plan.GetName())), clean(plan.GetDisplayName()))
	state := planState(plan.GetState())
	if plan.GetReason() != "" {
		state.text += ": " + clean(plan.GetReason())
	}
	p.labelled(toneQuiet, "State", state.tone, state.text, at)
	switch plan.GetState() {
	case bowrollv1.PlanState_PLAN_STATE_DRAFT:
		p.labelled(toneQuiet, "Units", tonePlain, "none reserved: confirm the plan to reserve them", at)
	case bowrollv1.PlanState_PLAN_STATE_CONFIRMED:
		p.labelled(toneQuiet, "Held until", tonePlain, instant(plan.GetHoldUntilTime())+" UTC, unless issued by then", at)
	}
	p.labelled(toneQuiet, "Etag", toneQuiet, plan.GetEtag(), at)
	if len(plan.GetSorties()) == 0 {
		p.gap()
		p.paragraph(tonePlain, "No sortie launches.", 0)
		return p.write(w)
	}
	first := plan.GetSorties()[0].GetLaunchTime()
	p.heading("SORTIES THAT LAUNCH", day(first)+", times in UTC")
	t := table{columns: []column{
		{head: "Launch"}, {head: "Sortie", least: 8}, {head: "State", least: 8}, {head: "Units", least: 16},
		{head: "Card", right: true}, {head: "Card until", rank: 1}, {head: "Void because", least: 16, rank: 2},
	}}
	for _, s := range plan.GetSorties() {
		card := none
		if s.GetCardRevision() > 0 {
			card = digits(int(s.GetCardRevision()))
		}
		tone := tonePlain
		switch s.GetState() {
		case bowrollv1.SortieState_SORTIE_STATE_VOID:
			tone = toneBad
		case bowrollv1.SortieState_SORTIE_STATE_LAUNCHED:
			tone = toneGood
		}
		t.row(cell{text: onDay(first, s.GetLaunchTime())}, cell{text: clean(s.GetId()), tone: toneTitle}, cell{word(s.GetState()), tone},
			cell{text: drawsText(s.GetDraws())}, cell{text: card}, cell{text: onDay(first, s.GetCardUntilTime())},
			cell{text: clean(strings.Join(s.GetVoidReasons(), "; ")), tone: toneBad})
	}
	p.table(t)
	p.waivers(plan.GetSorties())
	p.gap()
	p.paragraph(toneQuiet, "Computed with model "+orNone(plan.GetPinned().GetModelVersion())+", catalog "+orNone(plan.GetPinned().GetCatalogRevision())+
		", request "+orNone(plan.GetPinned().GetRequestDigest()), 0)
	if now := plan.GetProvenance().GetCatalogRevision(); now != "" && now != plan.GetPinned().GetCatalogRevision() {
		p.paragraph(toneCare, "Catalog "+now+" is in force since: its cards say what they use that differs.", 0)
	}
	return p.write(w)
}

// drawsText draws the units of a sortie: the serials where they are reserved,
// else how many of which lot.
func drawsText(draws []*bowrollv1.PlanDraw) string {
	var parts []string
	for _, d := range draws {
		text := digits(int(d.GetUnitCount())) + hold + d.GetLot()
		if len(d.GetUnits()) > 0 {
			text = strings.Join(d.GetUnits(), ", ")
		}
		parts = append(parts, clean(text))
	}
	if len(parts) == 0 {
		return "none"
	}
	return strings.Join(parts, " + ")
}
