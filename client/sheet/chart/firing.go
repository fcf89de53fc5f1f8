package chart

import (
	"fmt"
	"io"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Firing draws the run against the moment of the firing command: nominal, median,
// at the policy's percentile and at P99, with the moment planned and where a
// failure would have no way out.
func Firing(w io.Writer, style Style, found *bowrollv1.TakeoffsFindFiringResponse, availableM *float64) error {
	units, curve := style.Units, found.GetCurve()
	if len(curve) < 2 {
		return fmt.Errorf("a chart of the firing needs a curve of two points or more, got %d", len(curve))
	}
	p := newPanel("command, s after brake release", "run, "+figure.Unit(units, figure.Length))
	c := panels{title: "Run against the moment of firing", list: []*plot.Plot{p}, tall: 250, axisAt: 50}
	high := "at high percentile"
	if planned := found.GetPlannedFiring(); planned != nil {
		high = fmt.Sprintf("P%.0f", planned.GetPercentile()*100)
	}
	p99 := func(f *bowrollv1.FiringPoint) *float64 { return f.RunP99M }
	if high == "P99" { // it is the policy's own, or too close to tell apart
		p99 = func(*bowrollv1.FiringPoint) *float64 { return nil }
	}
	var names []func() // written after the lines, so that none strikes a name through
	for _, l := range []struct {
		name   string
		read   func(*bowrollv1.FiringPoint) *float64
		weight vg.Length
		dashes []vg.Length
		// Where the name stands: how far along the line, and beside that point or on it,
		// where it interrupts the line. Nominal and median run close, so one is named
		// beside and one on it.
		along  float64
		dx, dy float64
		across draw.XAlignment
		bold   bool
	}{
		{"nominal", func(f *bowrollv1.FiringPoint) *float64 { return f.RunM }, 1, []vg.Length{2, 2}, 0.8, 7, -9, draw.XLeft, false},
		{"P50", func(f *bowrollv1.FiringPoint) *float64 { return f.RunP50M }, 1.6, []vg.Length{7, 3}, 0.45, 0, 0, draw.XCenter, false},
		{"P99", p99, 1.6, []vg.Length{1, 3}, 0.85, -7, 8, draw.XRight, true},
		{high, func(f *bowrollv1.FiringPoint) *float64 { return f.RunPercentileM }, 2.6, nil, 0.25, 0, 0, draw.XCenter, true},
	} {
		var points plotter.XYs
		for _, f := range curve {
			if v := l.read(f); v != nil {
				points = append(points, plotter.XY{X: f.GetDelayS(), Y: inUnit(units, figure.Length, *v)})
			}
		}
		if err := stroke(p, points, l.weight, l.dashes...); err != nil {
			return err
		}
		if n := len(points); n > 0 {
			at := points[int(float64(n)*l.along)]
			names = append(names, func() { name(p, at, l.name, l.dx, l.dy, l.across, l.bold) })
		}
	}
	p.X.Min, p.X.Max = curve[0].GetDelayS(), curve[len(curve)-1].GetDelayS()
	p.Y.Min = max(0, p.Y.Min-0.12*(p.Y.Max-p.Y.Min))
	if availableM != nil {
		deck := inUnit(units, figure.Length, *availableM)
		p.Y.Max = max(p.Y.Max, deck) * 1.04
		if err := stroke(p, plotter.XYs{{X: p.X.Min, Y: deck}, {X: p.X.Max, Y: deck}}, 3); err != nil {
			return err
		}
		name(p, plotter.XY{X: p.X.Max, Y: deck}, "run available", -4, 9, draw.XRight, true)
	}
	for _, write := range names {
		write()
	}
	uncovered := false
	for i := 1; i < len(curve); i++ {
		first := i - 1
		for i < len(curve) && (!curve[i-1].GetCovered() || !curve[i].GetCovered()) {
			i++
		}
		if i-1 == first {
			continue
		}
		uncovered = true
		from, to, low, high := curve[first].GetDelayS(), curve[i-1].GetDelayS(), p.Y.Min, p.Y.Min+0.03*(p.Y.Max-p.Y.Min)
		if err := area(p, plotter.XYs{{X: from, Y: low}, {X: to, Y: low}, {X: to, Y: high}, {X: from, Y: high}}, dark); err != nil {
			return err
		}
	}
	note := "Every failure has a way out at each moment shown."
	if uncovered {
		note = "Bar at the bottom: fired then, a single failure would have no way out."
	}
	if f := found.GetFiring(); f != nil && f.DelayS != nil {
		c.marks = append(c.marks, mark{"planned " + figure.Seconds(f.GetDelayS()), f.GetDelayS(), false})
	} else if f.GetMode() == bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES {
		note = "Planned on the brakes. " + note
	}
	if best := found.GetPlannedFiring().GetNominalBest(); best != nil && best.DelayS != nil {
		c.marks = append(c.marks, mark{"nominal best " + figure.Seconds(best.GetDelayS()), best.GetDelayS(), false})
	}
	c.notes = []string{note}
	return c.draw(w, style, found.GetCautions(), found.GetProvenance())
}
