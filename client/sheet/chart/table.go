package chart

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// MaxPanels is how many loads at spots one picture of a table shows.
const MaxPanels = 12

// Table draws the least headwind over mass, a panel for each aircraft type, flap
// setting, spot and grain temperature, a line for each unit count. Between two
// masses a line runs at the greater of the two, which is what may be relied on
// there. Where there are several temperatures the line is that of the hottest,
// and a pale field under it reaches down to the coldest.
func Table(w io.Writer, style Style, rows []*bowrollv1.WindTableRow, summary *bowrollv1.WindTableSummary) error {
	t := tableChart{style: style, unit: figure.Unit(style.Units, figure.Speed), per: 1}
	if t.unit == "kt" {
		t.per = 3600.0 / 1852
	}
	t.gather(rows)
	if len(t.panels) > MaxPanels {
		return fmt.Errorf("the table has %d panels, a picture shows %d: name fewer aircraft types, flaps, spots or grain temperatures", len(t.panels), MaxPanels)
	}
	notes := []string{
		"Lines show the least headwind; between two masses they run at the greater of the two, never on the unsafe side. Crosses mark masses that no wind does for.",
	}
	if t.coldest < t.hottest {
		notes = append(notes, fmt.Sprintf("Lines are for %s; the pale field under each reaches down to %s.",
			t.degrees(t.hottest), t.degrees(t.coldest)))
	}
	foot := newFoot(summary.GetCautions(), notes, summary.GetProvenance())
	const head, panel = 62.0, 226.0
	c := newCanvas(style, head+panel*float64(len(t.panels))+foot.height()+6)
	about := style.About
	if about != "" {
		about += ". "
	}
	air := ""
	switch {
	case t.coldest < t.hottest:
		air = ", air " + t.degrees(t.coldest) + " to " + t.degrees(t.hottest)
	case t.coldest == t.hottest:
		air = ", air " + t.degrees(t.hottest)
	}
	top := title(c, "Least headwind", about+"Credited headwind in "+t.unit+" by mass without units in "+figure.Unit(style.Units, figure.Mass)+air+".")
	for i := range t.panels {
		t.draw(c, &t.panels[i], top-panel*float64(i), panel)
	}
	foot.draw(c)
	_, err := c.write(w)
	return err
}

// tableChart is a picture of a table being laid out.
type tableChart struct {
	style            Style
	unit             string
	per              float64
	coldest, hottest float64
	panels           []panel
}

// A panel is one load at one spot.
type panel struct {
	name    string
	ceiling *float64
	counts  []count
}

// A count is the line of one unit count.
type count struct {
	units  int32
	masses []float64
	// worst and best are the least headwinds at the hottest and the coldest
	// temperature, in the units shown: +Inf where no wind does, -Inf where any
	// does.
	worst, best []float64
}

func (t *tableChart) degrees(c float64) string {
	return figure.Measured(t.style.Units, figure.Temperature, c)
}

// gather sorts rows into panels and lines.
func (t *tableChart) gather(rows []*bowrollv1.WindTableRow) {
	t.coldest, t.hottest = math.Inf(1), math.Inf(-1)
	grains := map[float64]bool{}
	for _, r := range rows {
		t.coldest, t.hottest = min(t.coldest, r.GetTemperatureC()), max(t.hottest, r.GetTemperatureC())
		if r.GrainTemperatureC != nil {
			grains[r.GetGrainTemperatureC()] = true
		}
	}
	at := map[string]int{}
	for _, r := range rows {
		name := short(r.GetAircraftType()) + ", flap " + r.GetFlap()
		if r.GetSpot() != "" {
			name += ", spot " + r.GetSpot()
		}
		name += " (" + figure.Measured(t.style.Units, figure.Length, r.GetAvailableM()) + ")"
		if len(grains) > 1 && r.GrainTemperatureC != nil {
			name += ", units at " + t.degrees(r.GetGrainTemperatureC())
		}
		i, known := at[name]
		if !known {
			i = len(t.panels)
			at[name] = i
			t.panels = append(t.panels, panel{name: printable(name), ceiling: r.WindCeilingMps})
		}
		t.panels[i].add(r, t)
	}
}

func short(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

// add puts a row into its line.
func (p *panel) add(r *bowrollv1.WindTableRow, t *tableChart) {
	if r.GetTemperatureC() != t.hottest && r.GetTemperatureC() != t.coldest {
		return
	}
	i := slices.IndexFunc(p.counts, func(c count) bool { return c.units == r.GetUnitCount() })
	if i < 0 {
		i = len(p.counts)
		p.counts = append(p.counts, count{units: r.GetUnitCount()})
	}
	c := &p.counts[i]
	k, known := slices.BinarySearch(c.masses, r.GetGrossMassKg())
	if !known {
		c.masses = slices.Insert(c.masses, k, r.GetGrossMassKg())
		c.worst, c.best = slices.Insert(c.worst, k, math.NaN()), slices.Insert(c.best, k, math.NaN())
	}
	value := math.Inf(1)
	switch r.GetState() {
	case bowrollv1.LimitState_LIMIT_STATE_FOUND:
		value = r.GetLeastHeadwindMps() * t.per
	case bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		value = math.Inf(-1)
	}
	if r.GetTemperatureC() == t.hottest {
		c.worst[k] = value
	}
	if r.GetTemperatureC() == t.coldest {
		c.best[k] = value
	}
}

// A frame maps the numbers of a panel to its place.
type frame struct {
	left, right, low, high float64 // of the drawing, points
	x0, x1, y0, y1         float64 // of the numbers
}

func (f frame) at(x, y float64) vg.Point {
	y = math.Min(math.Max(y, f.y0), f.y1)
	return at(f.left+(x-f.x0)/(f.x1-f.x0)*(f.right-f.left), f.low+(y-f.y0)/(f.y1-f.y0)*(f.high-f.low))
}

// draw draws one panel under top.
func (t *tableChart) draw(c *canvas, p *panel, top, height float64) {
	c.say(letter{size: body, bold: true}, margin, top-body, p.name)
	f := t.frame(p, top, height)
	t.axes(c, f)
	if p.ceiling != nil && *p.ceiling*t.per < f.y1 {
		y := *p.ceiling * t.per
		c.line(pen{ink, 1, []float64{1, 2}}, f.at(f.x0, y), f.at(f.x1, y))
		at := f.at(f.x0, y)
		c.say(letter{size: small}, f.left+4, float64(at.Y)+3, "deck's ceiling "+figure.Fixed(y, 1)+" "+t.unit)
	}
	var names []endName
	for i := range p.counts {
		names = append(names, t.lineOf(c, f, &p.counts[i], i))
	}
	setApart(names, f.low+4)
	for _, n := range names {
		c.say(letter{size: small, bold: true, up: draw.YCenter}, f.right+6, n.y, n.words)
	}
}

// frame finds the range of a panel's numbers.
func (t *tableChart) frame(p *panel, top, height float64) frame {
	f := frame{left: margin + 30, right: width - margin - 54, low: top - height + 40, high: top - body - 22, x0: math.Inf(1), x1: math.Inf(-1), y0: 0, y1: 5}
	per := t.mass()
	for i := range p.counts {
		n := &p.counts[i]
		for k, m := range n.masses {
			f.x0, f.x1 = min(f.x0, m*per), max(f.x1, m*per)
			for _, v := range [2]float64{n.worst[k], n.best[k]} {
				if !math.IsInf(v, 0) && !math.IsNaN(v) {
					f.y0, f.y1 = min(f.y0, v), max(f.y1, v)
				}
			}
		}
	}
	if p.ceiling != nil {
		f.y1 = max(f.y1, *p.ceiling*t.per*1.08)
	}
	if f.x1 <= f.x0 {
		f.x0, f.x1 = f.x0-1, f.x1+1
	}
	step := nice((f.y1 - f.y0) / 7)
	f.y0, f.y1 = step*math.Floor(f.y0/step), step*math.Ceil(f.y1/step)
	return f
}

// mass is the units shown per kilogram.
func (t *tableChart) mass() float64 {
	if figure.Unit(t.style.Units, figure.Mass) == "lb" {
		return 1 / 0.45359237
	}
	return 1
}

// nice is a round number at least as large as one.
func nice(v float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= v*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// axes draws scales and the frame.
func (t *tableChart) axes(c *canvas, f frame) {
	step := nice((f.y1 - f.y0) / 7)
	for y := f.y0; y <= f.y1+1e-9; y += step {
		shade := pen{rule, 0.5, nil}
		c.line(shade, f.at(f.x0, y), f.at(f.x1, y))
		p := f.at(f.x0, y)
		c.say(letter{size: small, across: draw.XRight, up: draw.YCenter}, f.left-5, float64(p.Y), figure.Fixed(y, 0))
	}
	across := nice((f.x1 - f.x0) / 4)
	for x := across * math.Ceil(f.x0/across); x <= f.x1+1e-9; x += across {
		p := f.at(x, f.y0)
		c.line(pen{ink, 0.8, nil}, p, at(float64(p.X), f.low-4))
		c.say(letter{size: small, across: draw.XCenter, up: draw.YTop}, float64(p.X), f.low-6, figure.Grouped(figure.Fixed(x, 0)))
	}
	c.line(pen{ink, 0.9, nil}, f.at(f.x0, f.y1), f.at(f.x0, f.y0), f.at(f.x1, f.y0))
	c.say(letter{size: small, shade: dark, across: draw.XRight}, f.left-5, f.high+8, t.unit)
	c.say(letter{size: small, shade: dark, across: draw.XRight, up: draw.YTop}, f.right, f.low-18, "mass, "+figure.Unit(t.style.Units, figure.Mass))
}

// marks of the cells, one for each line.
var marks = []draw.GlyphDrawer{draw.CircleGlyph{}, draw.BoxGlyph{}, draw.PyramidGlyph{}, draw.RingGlyph{}}

// An endName is the name of a line at its right end.
type endName struct {
	words string
	y     float64
}

// lineOf draws the line of one unit count, and returns its name.
func (t *tableChart) lineOf(c *canvas, f frame, n *count, i int) endName {
	per := t.mass()
	var shade color.Color = ink
	if i%2 == 1 {
		shade = dark
	}
	steps := func(values []float64) []vg.Point {
		var points []vg.Point
		for k := range n.masses {
			v := values[k]
			if k > 0 {
				up := math.Max(values[k-1], v)
				points = append(points, f.at(n.masses[k-1]*per, up), f.at(n.masses[k]*per, up))
			}
			points = append(points, f.at(n.masses[k]*per, v))
		}
		return points
	}
	upper := steps(n.worst)
	if t.coldest < t.hottest {
		c.fill(color.NRGBA{0, 0, 0, 0x1c}, append(slices.Clone(upper), reversed(steps(n.best))...))
	}
	c.line(pen{shade, 1.8, dashes[i%len(dashes)]}, upper...)
	name := endName{words: unitsWord(n.units), y: float64(upper[len(upper)-1].Y)}
	for k, m := range n.masses {
		p := f.at(m*per, n.worst[k])
		glyph, size := marks[i%len(marks)], 2.6
		if math.IsInf(n.worst[k], 1) {
			glyph, size = draw.CrossGlyph{}, 4
		}
		c.DrawGlyph(draw.GlyphStyle{Color: shade, Radius: vg.Length(size), Shape: glyph}, p)
	}
	return name
}

// setApart moves names that would overlap.
func setApart(names []endName, lowest float64) {
	order := make([]int, len(names))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case names[a].y < names[b].y:
			return -1
		case names[a].y > names[b].y:
			return 1
		}
		return 0
	})
	at := lowest
	for _, i := range order {
		names[i].y = math.Max(names[i].y, at)
		at = names[i].y + small + 2
	}
}
