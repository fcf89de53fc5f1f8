package board

import (
	"fmt"
	"net/http"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// keptPlans lists the plans of a site.
func (b *board) keptPlans(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site := r.PathValue("site")
	var plans []*bowrollv1.Plan
	var from *bowrollv1.Provenance
	token := ""
	for range mostPages {
		answer, err := b.to.Plans.ListPlans(v.context(r.Context()), &bowrollv1.ListPlansRequest{Parent: "sites/" + site, PageSize: 200, PageToken: token})
		if err != nil {
			return err
		}
		plans, from, token = append(plans, answer.GetPlans()...), answer.GetProvenance(), answer.GetNextPageToken()
		if token == "" {
			break
		}
	}
	type row struct {
		Name, ID, For, State, Until, Why string
		Sorties, Launched                int
		Void                             []string
	}
	var rows []row
	for _, p := range plans {
		one := row{Name: p.GetName(), ID: short(p.GetName()), For: p.GetDisplayName(), State: word(p.GetState()), Until: instant(p.GetHoldUntilTime()), Why: p.GetReason(), Sorties: len(p.GetSorties())}
		for _, s := range p.GetSorties() {
			switch s.GetState() {
			case bowrollv1.SortieState_SORTIE_STATE_LAUNCHED:
				one.Launched++
			case bowrollv1.SortieState_SORTIE_STATE_VOID:
				one.Void = append(one.Void, s.GetId())
			}
		}
		rows = append(rows, one)
	}
	return b.write(w, v, http.StatusOK, view{Page: "plans", Title: "Plans of " + site, From: from, Data: struct {
		Site string
		Rows []row
		More bool
	}{site, rows, token != ""}})
}

// keptView is what the page of a kept plan shows.
type keptView struct {
	Site, Plan string
	Kept       *bowrollv1.Plan
	Void       []*bowrollv1.PlanSortie
	Sorties    paper.Table
	Sheet      *paper.Page
	May        map[string]bool
	Active     []*bowrollv1.PlanSortie // that have neither launched nor been scrubbed
	Actor      string
	Request    string
	Checked    *bowrollv1.RecheckPlanResponse
	Sides      []paper.Table
	Besides    [][]string // why a card does not hold that no side of its box says
	Inputs     map[string]string
	Again      *bowrollv1.RecomputePlanResponse
	Waivers    waiverView
	Cards      []*bowrollv1.PlanSortie // that a card was issued for
	Newer      string                  // revision of the catalog in force, where it is not the plan's
}

// keptPlan shows one plan of a site.
func (b *board) keptPlan(w http.ResponseWriter, r *http.Request, v *visitor) error {
	if err := b.keeps(); err != nil {
		return err
	}
	site, id := r.PathValue("site"), r.PathValue("plan")
	plan, err := b.to.Plans.GetPlan(v.context(r.Context()), &bowrollv1.GetPlanRequest{Name: "sites/" + site + "/plans/" + id})
	if err != nil {
		return err
	}
	return b.showKept(w, v, plan, keptView{Site: site, Plan: id})
}

// showKept shows a plan beside what was just found of it.
func (b *board) showKept(w http.ResponseWriter, v *visitor, plan *bowrollv1.Plan, shown keptView) error {
	shown.Kept, shown.Actor, shown.Request, shown.May = plan, v.who.Name, b.NewID()+b.NewID(), map[string]bool{}
	if now := plan.GetProvenance().GetCatalogRevision(); now != plan.GetPinned().GetCatalogRevision() {
		shown.Newer = now
	}
	for _, s := range plan.GetSorties() {
		if s.GetCardRevision() > 0 {
			shown.Cards = append(shown.Cards, s)
		}
		switch s.GetState() {
		case bowrollv1.SortieState_SORTIE_STATE_VOID:
			shown.Void = append(shown.Void, s)
			shown.Active = append(shown.Active, s)
		case bowrollv1.SortieState_SORTIE_STATE_PLANNED, bowrollv1.SortieState_SORTIE_STATE_CARD_ISSUED:
			shown.Active = append(shown.Active, s)
		}
	}
	shown.Sorties, shown.Waivers = sortieTable(plan, v), waiversOf(plan)
	if plan.GetAnswer() != nil && plan.GetCycle() != nil {
		page := cycleSheet(plan.GetCycle(), plan.GetAnswer(), v)
		shown.Sheet = &page
	}
	draft, confirmed := plan.GetState() == bowrollv1.PlanState_PLAN_STATE_DRAFT, plan.GetState() == bowrollv1.PlanState_PLAN_STATE_CONFIRMED
	offer := func(act, method string, stands bool) { shown.May[act] = stands && v.may(method, shown.Site) }
	offer("confirm", bowrollv1.Plans_ConfirmPlan_FullMethodName, draft)
	offer("cancel", bowrollv1.Plans_CancelPlan_FullMethodName, draft || confirmed)
	offer("waive", bowrollv1.Plans_RecordWaiver_FullMethodName, (draft || confirmed) && len(shown.Active) > 0)
	offer("revoke", bowrollv1.Plans_RevokeWaiver_FullMethodName, (draft || confirmed) && len(shown.Waivers.InForce) > 0)
	offer("card", bowrollv1.Plans_IssueCard_FullMethodName, confirmed && len(shown.Active) > 0)
	offer("recheck", bowrollv1.Plans_RecheckPlan_FullMethodName, confirmed)
	offer("record", bowrollv1.Plans_RecordLaunch_FullMethodName, confirmed && len(shown.Active) > 0)
	offer("scrub", bowrollv1.Plans_ScrubSortie_FullMethodName, confirmed && len(shown.Active) > 0)
	offer("recompute", bowrollv1.Plans_RecomputePlan_FullMethodName, true)
	for _, c := range shown.Checked.GetCards() {
		shown.Sides, shown.Besides = append(shown.Sides, sidesTable(c, v)), append(shown.Besides, besides(c))
	}
	return b.write(w, v, http.StatusOK, view{Page: "kept", Title: "Plan " + shown.Plan + " of " + shown.Site, From: plan.GetPinned(), Data: shown})
}

// sortieTable is where each launch of a plan stands.
func sortieTable(plan *bowrollv1.Plan, v *visitor) paper.Table {
	t := paper.Table{Columns: []paper.Column{
		{Head: "Launch (Z)"}, {Head: "Sortie"}, {Head: "State", Badges: map[string]paper.Fill{"VOID": paper.Black, "card issued": paper.Open}},
		{Head: "Units"}, {Head: "Card", Right: true}, {Head: "Card until"}, {Head: "Holds inside"},
	}}
	// The row is named by its sortie.
	t.Columns[0].Head = "UTC launch"
	for _, s := range plan.GetSorties() {
		state := word(s.GetState())
		if s.GetState() == bowrollv1.SortieState_SORTIE_STATE_VOID {
			state = "VOID"
		}
		card := ""
		if s.GetCardRevision() > 0 {
			card = fmt.Sprint(s.GetCardRevision())
		}
		t.Rows = append(t.Rows, []string{instant(s.GetLaunchTime()), s.GetId(), state, unitsOf(s), card, instant(s.GetCardUntilTime()), boxText(s.GetBox(), v)})
	}
	return t
}

// unitsOf is the units of a sortie: serials where they are reserved.
func unitsOf(s *bowrollv1.PlanSortie) string {
	var parts []string
	for _, d := range s.GetDraws() {
		text := fmt.Sprintf("%d %s", d.GetUnitCount(), d.GetLot())
		if len(d.GetUnits()) > 0 {
			text += " (" + strings.Join(d.GetUnits(), ", ") + ")"
		}
		parts = append(parts, text)
	}
	if len(parts) == 0 {
		return "none"
	}
	return strings.Join(parts, " + ")
}

// boxText is the box of a card in a line.
func boxText(box *bowrollv1.CardBox, v *visitor) string {
	if box == nil {
		return ""
	}
	var parts []string
	add := func(what string, m figure.Measure, least, greatest *float64) {
		if text := figure.Between(v.units, m, least, greatest); text != "" {
			parts = append(parts, what+" "+text)
		}
	}
	add("headwind", figure.Speed, box.LeastHeadwindMps, box.GreatestHeadwindMps)
	add("crosswind", figure.Speed, nil, box.GreatestCrosswindMps)
	add("mass", figure.Mass, box.LeastMassKg, box.GreatestMassKg)
	add("air", figure.Temperature, box.LeastTemperatureC, box.GreatestTemperatureC)
	add("grain", figure.Temperature, box.LeastGrainTemperatureC, box.GreatestGrainTemperatureC)
	if box.SpotToleranceM != nil {
		parts = append(parts, "within "+figure.AtMost(v.units, figure.Length, box.GetSpotToleranceM())+" of its spot")
	}
	return strings.Join(parts, "; ")
}

// besides is why a card does not hold that no measured side of its box says.
func besides(c *bowrollv1.CardCheck) []string {
	var texts []string
	for _, s := range c.GetSides() {
		if !s.GetHolds() && figure.MeasureOf(s.GetQuantity()) == (figure.Measure{}) {
			texts = append(texts, s.GetText())
		}
	}
	return texts
}

// sidesTable is a card held against what is measured now.
func sidesTable(c *bowrollv1.CardCheck, v *visitor) paper.Table {
	t := paper.Table{Columns: []paper.Column{
		{Head: "Side of the box"}, {Head: "Holds", Badges: map[string]paper.Fill{"CROSSED": paper.Black, "NOT KNOWN": paper.Black}},
		{Head: "Measured", Right: true}, {Head: "Permitted", Right: true}, {Head: "Beyond by", Right: true},
	}, Strong: map[int]bool{}}
	for _, s := range c.GetSides() {
		m := figure.MeasureOf(s.GetQuantity())
		if m == (figure.Measure{}) {
			continue
		}
		write := func(x *float64) string {
			return figure.Given(x, func(x float64) string { return figure.Measured(v.units, m, x) })
		}
		holds := "holds"
		switch {
		case !s.GetHolds() && s.Value == nil:
			holds = "NOT KNOWN"
		case !s.GetHolds():
			holds = "CROSSED"
		}
		t.Strong[len(t.Rows)] = !s.GetHolds()
		name := s.GetQuantity()
		if at := strings.LastIndexByte(name, '_'); at > 0 {
			name = name[:at]
		}
		t.Rows = append(t.Rows, []string{strings.ReplaceAll(name, "_", " "), holds, write(s.Value), figure.Between(v.units, m, s.Least, s.Greatest), write(s.Shortfall)})
	}
	return t
}
