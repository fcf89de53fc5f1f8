package sheet

import (
	"fmt"
	"io"
	"slices"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Compare draws variants of a cycle side by side and the trade of wind over deck
// against units. cycle is the request's, for its name; it may be nil.
func Compare(w io.Writer, style Style, cycle *bowrollv1.Cycle, answer *bowrollv1.CyclesCompareResponse) error {
	p := newPage(style)
	title := cycle.GetDisplayName()
	if title == "" {
		title = cycle.GetId()
	}
	if title == "" {
		title = "comparison"
	}
	p.heading(strings.ToUpper(clean(title)), plural(len(answer.GetVariants())+len(answer.GetCurve()), "plan", "plans")+" side by side")
	p.variants(answer)
	p.curve(answer.GetCurve())
	p.provenance(answer.GetProvenance())
	return p.write(w)
}

func (p *page) variants(answer *bowrollv1.CyclesCompareResponse) {
	list := answer.GetVariants()
	if len(list) == 0 {
		return
	}
	p.heading("VARIANTS", "speeds in "+p.unit(speed)+", margin in "+p.unit(length)+"; * best in its column")
	best := map[string][]string{}
	for _, w := range answer.GetWinners() {
		best[w.GetName()] = w.GetVariants()
	}
	mark := func(v *bowrollv1.VariantAnswer, level, text string) cell {
		if slices.Contains(best[level], v.GetId()) {
			return cell{text + "*", toneGood}
		}
		return cell{text: text + " "}
	}
	t := table{columns: []column{
		{head: "Variant", least: 10},
		{head: "Ship", under: "speed", right: true, rank: 2},
		{head: "Head", under: "wind", right: true, rank: 1},
		{head: "Launch", right: true},
		{head: "Priority", right: true},
		{head: "Units", right: true},
		{head: "Rank", right: true, rank: 4},
		{head: "Margin", right: true, rank: 3},
		{head: "Against the first", least: 18},
	}}
	for i, v := range list {
		o := v.GetObjective()
		ship := none
		if v.GetShip() != nil {
			ship = p.number(speed, v.GetShip().GetSpeedMps())
		}
		against := difference(v)
		if i == 0 {
			against = none
		}
		if !v.GetOptimal() {
			against += " (not proven)"
		}
		t.row(cell{clean(v.GetId()), toneTitle}, cell{text: ship}, cell{text: p.number(speed, v.GetWind().GetHeadwindMps())},
			cell{text: fmt.Sprintf("%d/%d", v.GetLaunchedCount(), int(v.GetLaunchedCount())+len(v.GetHeld()))},
			mark(v, "priority_launched", digits(int(o.GetPriorityLaunched()))), mark(v, "units_used", digits(int(o.GetUnitsUsed()))),
			mark(v, "expiry_rank", digits(int(o.GetExpiryRank()))), mark(v, "margin_m", p.number(length, o.GetMarginM())), cell{text: against})
	}
	p.table(t)
	p.paragraph(toneQuiet, "Rank: how late the lots used expire, the least best. Levels count in the order priority, units, rank, margin.", 0)
	p.paragraph(toneGood, "Best: "+strings.Join(answer.GetBest(), ", ")+".", 0)
}

// difference says what a variant launches, drops and does otherwise.
func difference(v *bowrollv1.VariantAnswer) string {
	var parts []string
	if len(v.GetLaunchedBesides()) > 0 {
		parts = append(parts, "also "+strings.Join(v.GetLaunchedBesides(), ", "))
	}
	if len(v.GetDropped()) > 0 {
		parts = append(parts, "not "+strings.Join(v.GetDropped(), ", "))
	}
	if len(v.GetOtherwise()) > 0 {
		parts = append(parts, "other units for "+strings.Join(v.GetOtherwise(), ", "))
	}
	if parts == nil {
		return "the same"
	}
	return strings.Join(parts, "; ")
}

// curve draws what a faster ship buys, with a bar for the priority launched.
func (p *page) curve(points []*bowrollv1.SweepPoint) {
	if len(points) == 0 {
		return
	}
	p.heading("WIND OVER DECK AGAINST UNITS", "speeds in "+p.unit(speed))
	most := int32(0)
	for _, at := range points {
		most = max(most, at.GetObjective().GetPriorityLaunched())
	}
	t := table{columns: []column{
		{head: "Ship", under: "speed", right: true},
		{head: "Head", under: "wind", right: true},
		{head: "Launch", right: true},
		{head: "Units", right: true},
		{head: "Priority", right: true},
		{head: ""},
	}}
	const others = 40 // columns that the figures take
	widest := min(30, p.style.Width-others)
	for _, at := range points {
		bar := ""
		if most > 0 {
			bar = strings.Repeat("#", int(int32(widest)*at.GetObjective().GetPriorityLaunched()/most))
		}
		if !at.GetOptimal() {
			bar += " not proven"
		}
		t.row(plain(p.number(speed, at.GetShipSpeedMps()), p.number(speed, at.GetHeadwindMps()), digits(int(at.GetLaunchedCount())),
			digits(int(at.GetObjective().GetUnitsUsed())), digits(int(at.GetObjective().GetPriorityLaunched())), bar)...)
	}
	p.table(t)
}
