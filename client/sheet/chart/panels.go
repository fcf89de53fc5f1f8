package chart

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Shades of areas and guide lines.
var (
	pale = color.Gray{0xd0}
	grid = color.Gray{0xe0}
)

// tier is the room that a line of names above the panels takes.
const tier = 13.0

// panels are plots below each other that share their horizontal axis.
type panels struct {
	title  string
	heads  []string
	notes  []string
	list   []*plot.Plot
	tall   float64 // height of each
	marks  []mark  // across all panels, named above the first
	axisAt float64 // room for the names of the vertical axis, for a first guess
}

// draw writes the picture.
func (p panels) draw(w io.Writer, style Style, cautions []*bowrollv1.Caution, from *bowrollv1.Provenance) error {
	if style.About != "" {
		p.heads = append([]string{style.About + "."}, p.heads...)
	}
	below := newFoot(cautions, p.notes, from)
	// The head is measured on a canvas that is thrown away.
	measure := newCanvas(Style{}, 1000)
	head := 1000 - title(measure, p.title, p.heads...)
	names := 4 + tier*float64(p.tiers(vg.Length(width-2*margin-p.axisAt)))
	height := head + names + p.tall*float64(len(p.list)) + below.height() + 8
	c := newCanvas(style, height)
	title(c, p.title, p.heads...)
	for _, m := range p.marks {
		c.about += " " + m.name + "."
	}
	c.about += " " + strings.Join(p.notes, " ")
	rows := make([][]*plot.Plot, len(p.list))
	for i, panel := range p.list {
		rows[i] = []*plot.Plot{panel}
	}
	body := draw.Crop(c.Canvas, margin-6, -margin, vg.Length(below.height()+6), -vg.Length(head+names))
	parts := plot.Align(rows, draw.Tiles{Rows: len(rows), Cols: 1, PadY: 6}, body)
	for i, panel := range p.list {
		p.upright(panel.DataCanvas(parts[i][0]), panel, i == 0) // behind the lines
		panel.Draw(parts[i][0])
	}
	below.draw(c)
	_, err := c.write(w)
	return err
}

// letters is the face of a text on a panel.
func letters(size float64, bold bool) text.Style {
	return letter{size: size, bold: bold}.style(handler())
}

// newPanel makes a panel with named axes.
func newPanel(x, y string) *plot.Plot {
	p := plot.New()
	p.TextHandler, p.BackgroundColor = handler(), color.Transparent
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		restyle(&axis.Label.TextStyle, letters(body, true))
		restyle(&axis.Tick.Label, letters(small, false))
		axis.LineStyle.Width, axis.LineStyle.Color = 1, ink
		axis.Tick.LineStyle.Width, axis.Tick.LineStyle.Color = 1, ink
		axis.Padding = 2
		axis.Tick.Marker = ticks{}
	}
	p.X.Label.Text, p.Y.Label.Text = x, y
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = grid, grid
	p.Add(g)
	return p
}

// restyle gives a text another face and leaves it where it stands.
func restyle(s *text.Style, face text.Style) {
	face.XAlign, face.YAlign, face.Rotation = s.XAlign, s.YAlign, s.Rotation
	*s = face
}

// ticks are few and round, and written as people write numbers.
type ticks struct{}

// Ticks implements plot.Ticker.
func (ticks) Ticks(low, high float64) []plot.Tick {
	list := plot.DefaultTicks{}.Ticks(low, high)
	for i := range list {
		if list[i].Label != "" {
			list[i].Label = figure.Decimal(list[i].Value)
		}
	}
	return list
}

// stroke adds a line to a panel.
func stroke(p *plot.Plot, points plotter.XYs, weight vg.Length, dashes ...vg.Length) error {
	if len(points) == 0 {
		return nil
	}
	l, err := plotter.NewLine(points)
	if err != nil {
		return fmt.Errorf("draw a line: %w", err)
	}
	l.Width, l.Color, l.Dashes = weight, ink, dashes
	p.Add(l)
	return nil
}

// area adds a filled area without an edge.
func area(p *plot.Plot, points plotter.XYs, shade color.Color) error {
	a, err := plotter.NewPolygon(points)
	if err != nil {
		return fmt.Errorf("draw an area: %w", err)
	}
	a.Color, a.Width = shade, 0
	p.Add(a)
	return nil
}

// name writes the name of a line beside a point of it, dx and dy away.
func name(p *plot.Plot, at plotter.XY, label string, dx, dy float64, across draw.XAlignment, bold bool) {
	style := letters(small, bold)
	style.XAlign, style.YAlign = across, draw.YCenter
	p.Add(named{at, label, vg.Length(dx), vg.Length(dy), style})
}

// named is a text at a point, on a patch of paper so that no line strikes it
// through.
type named struct {
	point  plotter.XY
	label  string
	dx, dy vg.Length
	style  text.Style
}

// Plot implements plot.Plotter.
func (n named) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	spot := vg.Point{X: tx(n.point.X) + n.dx, Y: ty(n.point.Y) + n.dy}
	box := n.style.Rectangle(n.label).Add(spot)
	// Kept inside the panel.
	shift := min(0, c.Max.X-box.Max.X-2) + max(0, c.Min.X-box.Min.X+2)
	spot.X, box.Min.X, box.Max.X = spot.X+shift, box.Min.X+shift, box.Max.X+shift
	c.FillPolygon(paper, []vg.Point{{X: box.Min.X - 1, Y: box.Min.Y}, {X: box.Max.X + 1, Y: box.Min.Y},
		{X: box.Max.X + 1, Y: box.Max.Y}, {X: box.Min.X - 1, Y: box.Max.Y}})
	c.FillText(n.style, spot, n.label)
}

// inUnit turns a number into the unit that an axis names, undiminished.
func inUnit(system quantity.System, m figure.Measure, value float64) float64 {
	number, ok := quantity.In(m.Dimension, value, figure.Unit(system, m))
	if !ok {
		return math.NaN() // a unit that is not of the dimension cannot come from figure
	}
	return number
}
