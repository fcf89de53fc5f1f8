package cyclesheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// stock is each lot before and after, in numbers and as bars.
func (s Sheet) stock() paper.Cell {
	if len(s.Plan.GetLots()) == 0 {
		return paper.Cell{}
	}
	lots := map[string]*bowrollv1.Lot{}
	for _, l := range s.Cycle.GetLots() {
		lots[l.GetId()] = l
	}
	t := paper.Table{Columns: []paper.Column{
		{Head: "Lot", Share: 1.2}, {Head: "Type", Share: 1.4}, {Head: "Usable until", Share: 1.4}, {Head: "Grain", Right: true},
		{Head: "Before", Right: true, Share: 0.8}, {Head: "Used", Right: true, Share: 0.8}, {Head: "After", Right: true, Share: 0.8},
		{Head: "Remark", Share: 3},
	}}
	const width, top, row = 188.0, 1.0, 4.2
	names := make([]string, len(s.Plan.GetLots()))
	for i, l := range s.Plan.GetLots() {
		names[i] = l.GetLot()
	}
	leftEdge := nameRoom(names)
	d := paper.Drawing{Width: width, Height: top + row*float64(len(s.Plan.GetLots())) + 5, Alt: "units of each lot, used and left"}
	most := 1
	for _, l := range s.Plan.GetLots() {
		most = max(most, int(l.GetBeforeCount()))
	}
	each := (width - leftEdge - 2) / float64(most)
	for i, l := range s.Plan.GetLots() {
		until, grain := figure.None, figure.None
		if lot := lots[l.GetLot()]; lot != nil {
			if lot.GetExpireTime() != nil {
				until = lot.GetExpireTime().AsTime().UTC().Format("2 Jan 2006")
			}
			grain = figure.Given(lot.GrainTemperatureC, func(v float64) string { return s.measured(figure.Temperature, v) })
		}
		remark := ""
		if l.GetBarred() != "" {
			remark = "NOT FOR USE: " + l.GetBarred()
		} else if l.GetAfterCount() == 0 {
			remark = "used up"
		}
		t.Rows = append(t.Rows, []string{l.GetLot(), shortName(l.GetBoosterType()), until, grain,
			fmt.Sprint(l.GetBeforeCount()), fmt.Sprint(l.GetUsedCount()), fmt.Sprint(l.GetAfterCount()), remark})
		y := top + row*float64(i)
		d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Label, X: 0, Y: y + row - 1.2, Text: rowName(l.GetLot()), Size: 3, Strong: true})
		bar := func(from, to int32, fill paper.Fill) {
			if to > from {
				d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Box, X: leftEdge + float64(from)*each, Y: y + 0.5,
					X2: leftEdge + float64(to)*each, Y2: y + row - 0.6, Fill: fill, Weight: 0.3})
			}
		}
		left := paper.White
		if l.GetBarred() != "" {
			left = paper.Hatched
		}
		bar(0, l.GetUsedCount(), paper.Middle)
		bar(l.GetUsedCount(), l.GetBeforeCount(), left)
		for n := int32(1); n < l.GetBeforeCount() && each > 1.5; n++ { // one box a unit
			x := leftEdge + float64(n)*each
			d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Stroke, X: x, Y: y + 0.5, X2: x, Y2: y + row - 0.6, Weight: 0.3})
		}
	}
	y := d.Height - 1
	for i, k := range []struct {
		fill paper.Fill
		text string
	}{{paper.Middle, "used by this plan"}, {paper.White, "left"}, {paper.Hatched, "not for use"}} {
		x := leftEdge + float64(i)*40
		d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Box, X: x, Y: y - 2.2, X2: x + 5, Y2: y + 0.2, Fill: k.fill, Weight: 0.3},
			paper.Shape{Kind: paper.Label, X: x + 6.5, Y: y, Text: k.text, Size: 2.8})
	}
	return paper.Cell{Title: "Stock before and after", Long: true, Blocks: []paper.Block{t, d}}
}

func shortName(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// whatIf is the plan under other conditions.
func (s Sheet) whatIf() paper.Cell {
	if len(s.Variants) < 2 {
		return paper.Cell{}
	}
	t := paper.Table{Columns: []paper.Column{
		{Head: "If", Share: 2.2}, {Head: "launch", Right: true, Share: 0.8}, {Head: "priority", Right: true, Share: 0.9}, {Head: "units used", Right: true, Share: 1},
		{Head: "goes besides", Share: 2.6}, {Head: "no longer goes", Share: 2.6},
	}, Strong: map[int]bool{0: true}}
	base := s.Variants[0]
	for i, v := range s.Variants {
		row := []string{v.Name, fmt.Sprint(v.Launched), fmt.Sprint(v.Priority), fmt.Sprint(v.UnitsOut), "nothing", "nothing"}
		if i > 0 {
			row[1] += change(v.Launched - base.Launched)
			row[2] += change(v.Priority - base.Priority)
			row[3] += change(v.UnitsOut - base.UnitsOut)
		} else {
			row[4], row[5] = "", ""
		}
		if len(v.Besides) > 0 {
			row[4] = strings.Join(v.Besides, ", ")
		}
		if len(v.Dropped) > 0 {
			row[5] = strings.Join(v.Dropped, ", ")
		}
		if !v.Proven {
			row[0] += " (not proven)"
		}
		t.Rows = append(t.Rows, row)
	}
	return paper.Cell{Title: "What if", Note: "each planned anew, on the best course; in brackets the change", Blocks: []paper.Block{t}}
}

func change(by int) string {
	if by == 0 {
		return " (=)"
	}
	return fmt.Sprintf(" (%+d)", by)
}

// cautions are what puts life or aircraft at risk, which goes before all else,
// and the rest, the most serious first. One that several launches raise alike is
// said once.
func (s Sheet) cautions() (serious, rest paper.Cell) {
	type warned struct {
		caution *bowrollv1.Caution
		sorties []string
	}
	var list []warned
	said := map[string]bool{}
	for _, c := range s.Plan.GetCautions() {
		said[c.GetId()], list = true, append(list, warned{caution: c})
	}
	for _, l := range s.Plan.GetLaunches() {
	next:
		for _, c := range l.GetTakeoff().GetCautions() {
			if said[c.GetId()] {
				continue
			}
			for i := range list {
				if list[i].caution.GetText() == c.GetText() {
					list[i].sorties = append(list[i].sorties, l.GetSortie())
					continue next
				}
			}
			list = append(list, warned{c, []string{l.GetSortie()}})
		}
	}
	slices.SortStableFunc(list, func(a, b warned) int { return cmp.Compare(b.caution.GetSeverity(), a.caution.GetSeverity()) })
	var now, later paper.Lines
	for _, w := range list {
		text := w.caution.GetText()
		if len(w.sorties) > 0 {
			text = strings.Join(w.sorties, ", ") + ": " + text
		}
		switch w.caution.GetSeverity() {
		case bowrollv1.Severity_SEVERITY_WARNING:
			now = append(now, paper.Line{Label: "WARNING", Text: text, Strong: true})
		case bowrollv1.Severity_SEVERITY_CAUTION:
			later = append(later, paper.Line{Label: "CAUTION", Text: text, Strong: true})
		default:
			later = append(later, paper.Line{Label: "note", Text: text})
		}
	}
	if len(now) > 0 {
		serious = paper.Cell{Title: "Warnings", Blocks: []paper.Block{now}}
	}
	if len(later) > 0 {
		rest = paper.Cell{Title: "Cautions", Long: true, Blocks: []paper.Block{later}}
	}
	return serious, rest
}
