package chart

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Envelope draws the winds over deck that a load may go in, one field for each
// unit count, the launch axis upwards. The answer must hold envelopes.
func Envelope(w io.Writer, style Style, answer *bowrollv1.WindLimitsComputeResponse) error {
	e := envelope{style: style}
	for _, l := range answer.GetLimits() {
		if slices.ContainsFunc(l.GetEnvelope(), func(p *bowrollv1.EnvelopePoint) bool { return p.GetOpen() }) {
			e.open = append(e.open, l)
			continue
		}
		e.closed = append(e.closed, l)
	}
	// The load that goes in the most winds is drawn first and lies below.
	slices.SortStableFunc(e.open, func(a, b *bowrollv1.WindLimit) int {
		switch x, y := least(a), least(b); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	e.scale()
	foot := newFoot(answer.GetCautions(), e.notes(), answer.GetProvenance())
	e.place(foot.height())
	c := newCanvas(style, e.height)
	title(c, "Wind limits", e.heads()...)
	e.grid(c)
	for i := range e.open {
		e.region(c, i)
	}
	e.spokes(c)
	e.labels(c)
	foot.draw(c)
	_, err := c.write(w)
	return err
}

// envelope is a polar picture being laid out.
type envelope struct {
	style        Style
	open, closed []*bowrollv1.WindLimit
	half         float64 // half width of the fan that is shown, degrees
	reach        float64 // speed at its rim, in the units shown
	ring         float64 // speed between rings
	unit         string
	per          float64 // units shown per m/s
	height       float64
	x, y, radius float64 // of the fan
}

// least is the least headwind of a limit, far below all where any wind does.
func least(l *bowrollv1.WindLimit) float64 {
	if l.GetLeastHeadwindMps().GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
		return l.GetLeastHeadwindMps().GetValue()
	}
	return math.Inf(-1)
}

// unboundedMPS is drawn for a greatest speed that nothing bounds.
const unboundedMPS = 30.0

// scale finds how far the picture must reach, and to which side.
func (e *envelope) scale() {
	e.unit = figure.Unit(e.style.Units, figure.Speed)
	e.per = 1
	if e.unit == "kt" {
		e.per = 3600.0 / 1852
	}
	far, turned := 5.0, 0.0
	for _, l := range e.open {
		for _, p := range l.GetEnvelope() {
			if !p.GetOpen() {
				continue
			}
			top := unboundedMPS
			if p.GreatestMps != nil {
				top = p.GetGreatestMps()
			}
			far = max(far, top*e.per)
			turned = max(turned, math.Abs(math.Remainder(p.GetRelativeFromDeg(), 360)))
		}
		far = max(far, 1.15*least(l)*e.per)
	}
	for _, step := range []float64{2, 5, 10, 20, 50} {
		e.ring = step
		if far/step <= 6 {
			break
		}
	}
	e.reach = e.ring * math.Ceil(far/e.ring)
	e.half = 180
	for _, half := range []float64{45, 60, 90} {
		if turned <= half-10 {
			e.half = half
			break
		}
	}
}

// place finds where the fan stands.
func (e *envelope) place(footHeight float64) {
	const top = 78.0
	side, below := 1.0, math.Max(0, -math.Cos(e.half*math.Pi/180))
	if e.half < 90 {
		side, below = math.Sin(e.half*math.Pi/180), 0
	}
	e.radius = math.Min((width-2*margin-52)/(2*side), 330)
	e.x = width / 2
	e.y = footHeight + 24 + below*(e.radius+16)
	e.height = e.y + e.radius + 22 + top
}

// polar is where a wind from a direction stands.
func (e *envelope) polar(deg, speed float64) vg.Point {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	r := e.radius * speed / e.reach
	return at(e.x+r*sin, e.y+r*cos)
}

// arc is the points of a circle from one direction to another.
func (e *envelope) arc(from, to, speed float64) []vg.Point {
	var points []vg.Point
	steps := max(1, int(math.Ceil(math.Abs(to-from)/2)))
	for i := range steps + 1 {
		points = append(points, e.polar(from+(to-from)*float64(i)/float64(steps), speed))
	}
	return points
}

func (e *envelope) heads() []string {
	about := e.style.About
	if about != "" {
		about += ". "
	}
	return []string{about + "Wind over deck by the direction it comes from, launch axis upwards, speeds in " + e.unit + "."}
}

// grid draws rings and the rim.
func (e *envelope) grid(c *canvas) {
	for speed := e.ring; speed <= e.reach+1e-9; speed += e.ring {
		c.line(pen{rule, 0.6, nil}, e.arc(-e.half, e.half, speed)...)
	}
}

// spokes draws directions and the speeds of the rings over the fields.
func (e *envelope) spokes(c *canvas) {
	step := 15.0
	if e.half > 60 {
		step = 30
	}
	for deg := -e.half; deg <= e.half; deg += step {
		if deg == -180 {
			continue
		}
		c.line(pen{rule, 0.6, []float64{2, 3}}, e.polar(deg, 0), e.polar(deg, e.reach))
		p := e.polar(deg, e.reach*(1+13/e.radius))
		c.say(letter{size: body, across: draw.XCenter, up: draw.YCenter}, float64(p.X), float64(p.Y),
			strings.TrimSuffix(figure.Bearing(deg), " deg")+"°")
	}
	for speed := e.ring; speed <= e.reach+1e-9; speed += e.ring {
		p := e.polar(-e.half, speed)
		l := letter{size: small, shade: dark, across: draw.XRight, up: draw.YCenter}
		x, y := float64(p.X)-4, float64(p.Y)-2
		switch {
		case e.half == 180:
			l.across, x, y = draw.XLeft, float64(p.X)+3, float64(p.Y)+6
		case e.half >= 60: // below the edge, where its direction is not written
			y -= 8
		}
		c.say(l, x, y, figure.Fixed(speed, 0))
	}
}

// region draws the winds of one load: runs of neighbouring open directions.
func (e *envelope) region(c *canvas, i int) {
	points := e.open[i].GetEnvelope()
	n := len(points)
	step := 360.0 / float64(n)
	first := slices.IndexFunc(points, func(p *bowrollv1.EnvelopePoint) bool { return !p.GetOpen() })
	var runs [][]int
	if first < 0 {
		all := make([]int, n+1)
		for k := range all {
			all[k] = k
		}
		runs = [][]int{all}
		first = 0
	} else {
		var run []int
		for k := first; k < first+n; k++ {
			if points[k%n].GetOpen() {
				run = append(run, k)
			} else if run != nil {
				runs, run = append(runs, run), nil
			}
		}
		if run != nil {
			runs = append(runs, run)
		}
	}
	for _, run := range runs {
		var inner, outer []vg.Point
		for _, k := range run {
			p, deg := points[k%n], float64(k)*step
			top := e.reach
			if p.GreatestMps != nil {
				top = p.GetGreatestMps() * e.per
			}
			inner = append(inner, e.polar(deg, p.GetLeastMps()*e.per))
			outer = append(outer, e.polar(deg, top))
		}
		if len(run) == 1 {
			// A single direction is a line.
			c.line(pen{ink, 2.4, nil}, inner[0], outer[0])
			continue
		}
		shape := append(slices.Clone(inner), reversed(outer)...)
		c.fill(field(i, len(e.open)), shape)
		if len(run) > n {
			c.line(pen{ink, 0.8, nil}, outer...)
		} else {
			c.line(pen{ink, 0.8, nil}, append(slices.Clone(shape), shape[0])...)
		}
		// Where any speed does, the least winds all stand in the middle.
		if inner = slices.Compact(inner); len(inner) > 1 {
			c.line(pen{ink, 2.2, dashes[i%len(dashes)]}, inner...)
		}
	}
}

// dashes tell the least winds of loads apart beside the words at them.
var dashes = [][]float64{nil, {7, 3}, {2, 2}, {9, 2, 2, 2}}

func reversed(points []vg.Point) []vg.Point {
	out := slices.Clone(points)
	slices.Reverse(out)
	return out
}

// labels says at each field what it is of: in it where it is wide enough, else to
// the right of its least wind, or under it where there is no room either.
func (e *envelope) labels(c *canvas) {
	l := letter{size: body, bold: true}
	below, beside := math.Inf(1), math.Inf(1)
	for i := len(e.open) - 1; i >= 0; i-- {
		limit := e.open[i]
		words := []string{unitsWord(limit.GetUnitCount()), "any headwind"}
		speed := 0.0
		if least(limit) > 0 {
			speed = least(limit) * e.per
			words[1] = "from " + figure.Fixed(speed, 1) + " " + e.unit
		}
		centred := l
		centred.across = draw.XCenter
		whole := words[0] + ": " + words[1]
		if e.rightOf(limit)-e.x > wide(c.handler, l, whole)/2+6 {
			c.clear(centred, e.x, float64(e.polar(0, speed).Y)+11, whole)
			continue
		}
		room := max(wide(c.handler, l, words[0]), wide(c.handler, l, words[1]))
		if x := e.rightOf(limit) + 8; x+room < width-margin {
			y := math.Min(float64(e.polar(0, speed).Y)+4, beside)
			c.clear(l, x, y, words[0])
			c.clear(l, x, y-body-3, words[1])
			beside = y - 2*(body+3) - 3
			continue
		}
		y := math.Min(float64(e.polar(0, speed).Y)-9, below)
		below = y - body - 5
		c.clear(centred, e.x, y, whole)
	}
}

// rightOf is how far to the right a field reaches at its least winds.
func (e *envelope) rightOf(l *bowrollv1.WindLimit) float64 {
	far := e.x
	for _, p := range l.GetEnvelope() {
		if !p.GetOpen() {
			continue
		}
		for _, v := range []*float64{p.LeastMps, p.GreatestMps} {
			if v != nil {
				far = math.Max(far, float64(e.polar(p.GetRelativeFromDeg(), *v*e.per).X))
			}
		}
	}
	return far
}

// notes says what bounds the fields, and which loads go in no wind.
func (e *envelope) notes() []string {
	var notes []string
	most := func(v float64) string { return figure.AtMost(e.style.Units, figure.Speed, v) }
	if len(e.open) > 0 {
		l := e.open[0]
		var bounds []string
		if l.CrosswindLimitMps != nil {
			bounds = append(bounds, "crosswind "+most(l.GetCrosswindLimitMps()))
		}
		if l.TailwindLimitMps != nil {
			bounds = append(bounds, "tailwind "+most(l.GetTailwindLimitMps()))
		}
		if l.WindCeilingMps != nil {
			bounds = append(bounds, "over deck "+most(l.GetWindCeilingMps()))
		}
		if len(bounds) > 0 {
			notes = append(notes, "Shaded: may go. Limits: "+strings.Join(bounds, ", ")+".")
		} else {
			notes = append(notes, "Shaded: may go. No other limit is stated.")
		}
	}
	for _, l := range e.closed {
		if l.GetLeastHeadwindMps().GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
			notes = append(notes, fmt.Sprintf("%s: needs %s of headwind, more than the limits leave open. Not drawn.",
				unitsWord(l.GetUnitCount()), figure.AtLeast(e.style.Units, figure.Speed, l.GetLeastHeadwindMps().GetValue())))
			continue
		}
		notes = append(notes, unitsWord(l.GetUnitCount())+": no wind does. Not drawn.")
	}
	return notes
}

func unitsWord(n int32) string {
	switch n {
	case 0:
		return "no units"
	case 1:
		return "1 unit"
	}
	return fmt.Sprintf("%d units", n)
}
