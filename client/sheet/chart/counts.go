package chart

import (
	"fmt"
	"image/color"
	"io"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// WindAgainstUnits draws the least headwind for each number of units.
func WindAgainstUnits(w io.Writer, style Style, answer *bowrollv1.WindLimitsComputeResponse) error {
	units, limits := style.Units, answer.GetLimits()
	if len(limits) == 0 {
		return fmt.Errorf("a chart of wind against units needs an answer for one count or more")
	}
	p := newPanel("units fitted", "least headwind, "+figure.Unit(units, figure.Speed))
	var columns []column
	labels := make([]plot.Tick, len(limits))
	most := 0.0
	for i, l := range limits {
		labels[i] = plot.Tick{Value: float64(i), Label: fmt.Sprint(l.GetUnitCount())}
		col := column{at: float64(i), tone: pale}
		switch limit := l.GetLeastHeadwindMps(); limit.GetState() {
		case bowrollv1.LimitState_LIMIT_STATE_FOUND:
			col.value = inUnit(units, figure.Speed, limit.GetValue())
			col.label = figure.Alone(figure.AtLeast(units, figure.Speed, limit.GetValue()))
		case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
			col.label = "any wind"
		default:
			col.label = "in no wind"
		}
		most = max(most, col.value)
		columns = append(columns, col)
	}
	low := 0.0
	for _, c := range columns {
		low = min(low, c.value)
	}
	p.Add(bars(columns))
	p.X.Tick.Marker = plot.ConstantTicks(labels)
	p.X.Min, p.X.Max = -0.6, float64(len(limits))-0.4
	p.Y.Min, p.Y.Max = low*1.15, max(most*1.15, 5)
	c := panels{title: "Wind against units", heads: []string{"Credited headwind over the deck, along the axis."}, list: []*plot.Plot{p}, tall: 230, axisAt: 50}
	return c.draw(w, style, answer.GetCautions(), answer.GetProvenance())
}

// A column stands on the axis with its value written over it.
type column struct {
	at, value float64
	label     string
	tone      color.Color
}

type bars []column

// Plot implements plot.Plotter.
func (b bars) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	half := min(tx(1)-tx(0), 60) * 0.35
	for _, col := range b {
		x, y, base := tx(col.at), ty(col.value), ty(max(0, p.Y.Min))
		box := []vg.Point{{X: x - half, Y: base}, {X: x + half, Y: base}, {X: x + half, Y: y}, {X: x - half, Y: y}}
		c.FillPolygon(col.tone, box)
		c.StrokeLines(draw.LineStyle{Color: ink, Width: 1.2}, append(box, box[0]))
		style := letters(body, true)
		style.XAlign = -0.5
		c.FillText(style, vg.Point{X: x, Y: max(y, base) + 4}, col.label)
	}
}

// Margins draws the queue in launch order: what each launch has in hand, against
// what the policy calls marginal, and by how much each held sortie falls short
// where that is a matter of run.
func Margins(w io.Writer, style Style, plan *bowrollv1.CyclePlan) error {
	units := style.Units
	type entry struct {
		order int32
		rung
	}
	var entries []entry
	for _, l := range plan.GetLaunches() {
		e := entry{l.GetOrder(), rung{name: l.GetSortie(), label: "not known"}}
		if m := l.GetTakeoff().MarginM; m != nil {
			e.value, e.label = inUnit(units, figure.Length, *m), figure.Measured(units, figure.Length, *m)
		}
		entries = append(entries, e)
	}
	for _, h := range plan.GetHeld() {
		entries = append(entries, entry{h.GetOrder(), rung{name: h.GetSortie(), label: "held", open: true}})
	}
	if len(entries) == 0 {
		return fmt.Errorf("a chart of margins needs a plan with one sortie or more")
	}
	list := make(rungs, len(entries))
	most := 0.0
	for _, e := range entries {
		most = max(most, e.value)
	}
	for i := range list { // the first on top
		for _, e := range entries {
			before := 0
			for _, o := range entries {
				if o.order < e.order {
					before++
				}
			}
			if before == i {
				list[i] = e.rung
			}
		}
	}
	p := newPanel("run available less required run, "+figure.Unit(units, figure.Length), "")
	p.Add(list)
	var names []plot.Tick
	for i, r := range list {
		names = append(names, plot.Tick{Value: -float64(i), Label: r.name})
	}
	p.Y.Tick.Marker = plot.ConstantTicks(names)
	p.X.Min, p.X.Max = 0, max(most*1.2, 1)
	p.Y.Min, p.Y.Max = -float64(len(list))+0.4, 0.6
	c := panels{title: "Margins of the queue", list: []*plot.Plot{p}, tall: 50 + 18*float64(len(list)), axisAt: 70}
	if m := plan.GetPolicy().GetMarginalM(); m > 0 {
		c.marks = append(c.marks, mark{"marginal below " + figure.Measured(units, figure.Length, m), inUnit(units, figure.Length, m), false})
	}
	return c.draw(w, style, plan.GetCautions(), plan.GetProvenance())
}

// A rung is one bar that lies, with its value behind it.
type rung struct {
	name, label string
	value       float64
	open        bool // nothing to draw but the label
}

type rungs []rung

// Plot implements plot.Plotter.
func (r rungs) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	half := (ty(0) - ty(-1)) * 0.34
	for i, bar := range r {
		x, y := tx(bar.value), ty(-float64(i))
		style := letters(small, !bar.open)
		style.YAlign = -0.4
		if !bar.open {
			box := []vg.Point{{X: tx(0), Y: y - half}, {X: x, Y: y - half}, {X: x, Y: y + half}, {X: tx(0), Y: y + half}}
			c.FillPolygon(pale, box)
			c.StrokeLines(draw.LineStyle{Color: ink, Width: 1.1}, append(box, box[0]))
		}
		at := vg.Point{X: x + 5, Y: y}
		patch := style.Rectangle(bar.label).Add(at)
		c.FillPolygon(paper, []vg.Point{patch.Min, {X: patch.Max.X, Y: patch.Min.Y}, patch.Max, {X: patch.Min.X, Y: patch.Max.Y}})
		c.FillText(style, at, bar.label)
	}
}
