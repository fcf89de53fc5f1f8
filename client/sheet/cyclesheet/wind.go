package cyclesheet

import (
	"math"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
)

// picture draws the ship, the natural wind and the wind over deck, north up.
func (s Sheet) picture() paper.Cell {
	const side, centre = 62.0, 31.0
	d := paper.Drawing{Width: side, Height: side, Alt: "course of the ship and the wind, north up"}
	polar := func(deg, r float64) (x, y float64) {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		return centre + r*sin, centre - r*cos
	}
	line := func(deg1, r1, deg2, r2, weight float64, dashed bool) {
		x1, y1 := polar(deg1, r1)
		x2, y2 := polar(deg2, r2)
		d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Stroke, X: x1, Y: y1, X2: x2, Y2: y2, Weight: weight, Dashed: dashed})
	}
	for deg := 0.0; deg < 360; deg += 10 {
		long := 1.4
		if math.Mod(deg, 30) == 0 {
			long = 2.6
		}
		line(deg, 25, deg, 25-long, 0.25, false)
	}
	for i, name := range []string{"N", "E", "S", "W"} {
		x, y := polar(float64(i)*90, 28)
		d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Label, X: x, Y: y + 1.2, Text: name, Size: 3.4, Anchor: paper.Centre, Strong: true})
	}
	var said []string
	ship := s.Plan.GetShip()
	if ship != nil {
		d.Shapes = append(d.Shapes, hull(centre, ship.GetCourseDeg()))
		said = append(said, "Ship steers "+figure.Bearing(ship.GetCourseDeg())+" true at "+s.measured(figure.Speed, ship.GetSpeedMps())+".")
	}
	if w := s.Cycle.GetNaturalWind(); w != nil && w.FromDeg != nil && w.GetSpeedMps() > 0 {
		arrow(&d, polar, w.GetFromDeg(), 25, 19.2, true)
		said = append(said, "Natural wind from "+figure.Bearing(w.GetFromDeg())+" at "+s.measured(figure.Speed, w.GetSpeedMps())+".")
	}
	if w := s.Plan.GetWind(); w != nil && w.RelativeFromDeg != nil && ship != nil {
		arrow(&d, polar, ship.GetCourseDeg()+w.GetRelativeFromDeg(), 18.6, 12.8, false)
		said = append(said, "Wind over deck from "+figure.Bearing(w.GetRelativeFromDeg())+" off the bow at "+s.measured(figure.Speed, w.GetSpeedMps())+".")
	}
	d.Words = []string{strings.Join(said, " ")}
	return paper.Cell{Title: "Course and wind", Note: "north up", Share: 0.42, Blocks: []paper.Block{d}}
}

// hull is the outline of a ship that steers a course.
func hull(centre, course float64) paper.Shape {
	sin, cos := math.Sincos(course * math.Pi / 180)
	shape := paper.Shape{Kind: paper.Polygon, Fill: paper.Pale, Weight: 0.5}
	for _, p := range [][2]float64{{0, -12}, {2.6, -7.5}, {2.8, 7}, {2, 10}, {-2, 10}, {-2.8, 7}, {-2.6, -7.5}} {
		shape.Points = append(shape.Points, [2]float64{centre + p[0]*cos - p[1]*sin, centre + p[0]*sin + p[1]*cos})
	}
	return shape
}

// arrow draws a wind that blows from a direction inward: filled for the natural
// wind, open for the wind over deck.
func arrow(d *paper.Drawing, polar func(deg, r float64) (x, y float64), from, outer, inner float64, filled bool) {
	x1, y1 := polar(from, outer)
	x2, y2 := polar(from, inner)
	d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Stroke, X: x1, Y: y1, X2: x2, Y2: y2, Weight: 0.7, Dashed: !filled})
	length := math.Hypot(x2-x1, y2-y1)
	ux, uy := (x2-x1)/length, (y2-y1)/length
	head := paper.Shape{Kind: paper.Polygon, Fill: paper.White, Weight: 0.5, Points: [][2]float64{
		{x2, y2}, {x2 - 3.6*ux - 1.5*uy, y2 - 3.6*uy + 1.5*ux}, {x2 - 3.6*ux + 1.5*uy, y2 - 3.6*uy - 1.5*ux}}}
	if filled {
		head.Fill = paper.Black
	}
	d.Shapes = append(d.Shapes, head)
}

// wind says the same in numbers, and the air.
func (s Sheet) wind() paper.Cell {
	var list []paper.Field
	add := func(label, value string) { list = append(list, paper.Field{Label: label, Value: value}) }
	if ship := s.Plan.GetShip(); ship != nil {
		add("Ship", figure.Bearing(ship.GetCourseDeg())+" true at "+s.measured(figure.Speed, ship.GetSpeedMps()))
	}
	if w := s.Cycle.GetNaturalWind(); w != nil {
		speed := func(v float64) string { return s.measured(figure.Speed, v) }
		add("Natural wind (filled arrow)", figure.Given(w.FromDeg, figure.Bearing)+" at "+figure.Given(w.SpeedMps, speed))
		add("Lull, gust", figure.Given(w.LullMps, speed)+", "+figure.Given(w.GustMps, speed))
		add("Read at", w.GetSource())
		add("Mean over", figure.Given(w.AveragingS, func(v float64) string { return figure.Fixed(v/60, 0) + " min" }))
	}
	if w := s.Plan.GetWind(); w != nil {
		over := figure.None
		if w.SpeedMps != nil && w.RelativeFromDeg != nil {
			over = s.measured(figure.Speed, w.GetSpeedMps()) + " from " + figure.Bearing(w.GetRelativeFromDeg())
			if s.Plan.GetShip() != nil {
				over += " off the bow"
			} else {
				over += " true"
			}
		}
		add("Wind over deck (open arrow)", over)
		add("Headwind, on the "+w.GetPlannedOn(), s.measured(figure.Speed, w.GetHeadwindMps()))
		add("Headwind, credited", s.measured(figure.Speed, w.GetCreditedHeadwindMps()))
		add("Crosswind, greatest", s.measured(figure.Speed, math.Abs(w.GetCrosswindMps())))
	}
	if a := s.Plan.GetAir(); a != nil {
		add("Air", s.measured(figure.Temperature, a.GetTemperatureC())+", "+s.measured(figure.Pressure, a.GetPressurePa()))
		add("Density altitude", s.measured(figure.Height, a.GetDensityAltitudeM()))
	}
	if p := s.Plan.GetPolicy(); p != nil {
		add("Required run", "run x "+figure.Fixed(p.GetRunFactor(), 2))
		add("A failed unit must leave", legs(p.GetLegs().String()))
	}
	return paper.Cell{Title: "In numbers", Blocks: []paper.Block{paper.Fields{List: list}}}
}

func legs(name string) string {
	switch name {
	case "LEGS_EITHER":
		return "room to stop, or a run that fits"
	case "LEGS_STOP":
		return "room to stop"
	case "LEGS_GO":
		return "a run that fits"
	case "LEGS_NEITHER":
		return "nothing: failures are not covered"
	}
	return figure.None
}
