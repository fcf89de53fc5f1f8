package chart

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
)

// A mark is an upright line at a place on the horizontal axis, with its name.
type mark struct {
	name   string
	at     float64
	strong bool // drawn heavy: the end of the deck
}

// place finds where the names of the marks stand above panels so wide.
func (c panels) place(span vg.Length) []figure.Place {
	tags := make([]figure.Tag, len(c.marks))
	for i, m := range c.marks {
		low, high := c.list[0].X.Min, c.list[0].X.Max
		tags[i] = figure.Tag{X: float64(span) * (m.at - low) / (high - low), Wide: float64(letters(small, m.strong).Width(m.name)) + 5}
	}
	return figure.PlaceTags(tags, float64(span))
}

// tiers is how many lines of names the marks take.
func (c panels) tiers(span vg.Length) int {
	most := 0
	for _, p := range c.place(span) {
		most = max(most, p.Tier+1)
	}
	return most
}

// upright draws the marks across a panel; over the first one also their names.
func (c panels) upright(canvas draw.Canvas, p *plot.Plot, first bool) {
	tx, _ := p.Transforms(&canvas)
	for i, at := range c.place(canvas.Max.X - canvas.Min.X) {
		m := c.marks[i]
		style := draw.LineStyle{Color: ink, Width: 0.9, Dashes: []vg.Length{3, 2}}
		if m.strong {
			style = draw.LineStyle{Color: ink, Width: 3}
		}
		x, top := tx(m.at), canvas.Max.Y
		if first {
			top += vg.Length(float64(at.Tier+1)*tier) - 2
		}
		canvas.StrokeLine2(style, x, canvas.Min.Y, x, top)
		if !first {
			continue
		}
		text := letters(small, m.strong)
		text.XAlign, text.YAlign = draw.XRight, draw.YTop
		point := vg.Point{X: x - 3, Y: top}
		if at.Right {
			text.XAlign, point.X = draw.XLeft, x+3
		}
		canvas.FillText(text, point, m.name)
	}
}
