package chart

import (
	"fmt"
	"io"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"bowroll/client/sheet/figure"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Run draws a take-off along the deck: airspeed against what lift-off takes in
// the upper panel, thrust in the lower, with the firing, the burn, the commit
// point, lift-off, the required run and the end of the deck marked across both.
func Run(w io.Writer, style Style, trace *bowrollv1.TakeoffsTraceResponse, off *bowrollv1.Takeoff) error {
	units := style.Units
	rows := min(len(trace.GetTimeS()), len(trace.GetDistanceM()), len(trace.GetAirspeedMps()), len(trace.GetLiftoffAirspeedMps()),
		len(trace.GetEngineThrustN()), len(trace.GetBoosterThrustN()))
	if rows < 2 {
		return fmt.Errorf("a chart of the run needs a trace of two rows or more, got %d", rows)
	}
	x := func(v float64) float64 { return inUnit(units, figure.Length, v) }
	column := func(m figure.Measure, values []float64) plotter.XYs {
		points := make(plotter.XYs, rows)
		for i := range points {
			points[i] = plotter.XY{X: x(trace.GetDistanceM()[i]), Y: inUnit(units, m, values[i])}
		}
		return points
	}
	speed := newPanel("", "airspeed, "+figure.Unit(units, figure.Speed))
	thrust := newPanel("distance from the spot, "+figure.Unit(units, figure.Length), "thrust, "+figure.Unit(units, figure.Force))

	air, lift := column(figure.Speed, trace.GetAirspeedMps()), column(figure.Speed, trace.GetLiftoffAirspeedMps())
	engines, boosters := column(figure.Force, trace.GetEngineThrustN()), column(figure.Force, trace.GetBoosterThrustN())
	marks := runMarks(units, trace, off)
	burn := false
	for _, b := range boosters {
		burn = burn || b.Y > 0
	}
	if burn {
		under := append(append(plotter.XYs{{X: boosters[0].X}}, boosters...), plotter.XY{X: boosters[rows-1].X})
		if err := area(thrust, under, pale); err != nil {
			return err
		}
	}
	for _, err := range []error{
		stroke(speed, air, 2.4), stroke(speed, lift, 1.3, 6, 3), stroke(thrust, engines, 1.3, 6, 3),
	} {
		if err != nil {
			return err
		}
	}
	half := 0 // the row half way along
	for half < rows-1 && air[half].X < air[rows-1].X/2 {
		half++
	}
	name(speed, lift[half], "needed to lift off", 0, 9, draw.XCenter, false)
	name(speed, air[half], "airspeed", 6, -12, draw.XLeft, true)
	name(thrust, engines[half], "engines", 0, 10, draw.XLeft, false)
	if burn {
		if err := stroke(thrust, boosters, 2); err != nil {
			return err
		}
		name(thrust, burning(boosters, marks), "boosters", 0, 0, draw.XCenter, true)
	}
	p := panels{title: "The run", heads: []string{verdict(units, off)}, list: []*plot.Plot{speed, thrust}, tall: 150, axisAt: 50, marks: marks}
	far := air[rows-1].X
	for _, m := range p.marks {
		far = max(far, m.at)
	}
	for _, panel := range p.list {
		panel.X.Min, panel.X.Max, panel.Y.Min = 0, far*1.01, 0
	}
	speed.Y.Max = max(speed.Y.Max, lift[0].Y) * 1.18
	thrust.Y.Max *= 1.2
	return p.draw(w, style, off.GetCautions(), off.GetProvenance())
}

// burning is a place within the burn for its name: half way up, in the middle of
// the widest stretch that no mark crosses.
func burning(boosters plotter.XYs, marks []mark) plotter.XY {
	peak := 0.0
	for _, b := range boosters {
		peak = max(peak, b.Y)
	}
	var edges []float64 // of the stretches
	for _, b := range boosters {
		if b.Y >= peak/2 {
			edges = append(edges, b.X)
		}
	}
	low, high := edges[0], edges[len(edges)-1]
	edges = []float64{low, high}
	for _, m := range marks {
		if low < m.at && m.at < high {
			edges = append(edges, m.at)
		}
	}
	slices.Sort(edges)
	at, wide := low, 0.0
	for i := 1; i < len(edges); i++ {
		if gap := edges[i] - edges[i-1]; gap > wide {
			at, wide = edges[i-1]+gap/2, gap
		}
	}
	return plotter.XY{X: at, Y: peak / 2}
}

// verdict says in one line what the chart is of.
func verdict(units quantity.System, off *bowrollv1.Takeoff) string {
	if off.RequiredRunM == nil || off.AvailableM == nil {
		return "No lift-off."
	}
	return fmt.Sprintf("Required run %s of %s available.", figure.Measured(units, figure.Length, off.GetRequiredRunM()),
		figure.Measured(units, figure.Length, off.GetAvailableM()))
}

// runMarks are the places along the deck that matter.
func runMarks(units quantity.System, trace *bowrollv1.TakeoffsTraceResponse, off *bowrollv1.Takeoff) []mark {
	var marks []mark
	add := func(name string, at *float64, strong bool) {
		if at != nil {
			marks = append(marks, mark{name + " " + figure.Number(units, figure.Length, *at), inUnit(units, figure.Length, *at), strong})
		}
	}
	if f := off.GetFiring(); f.GetCue() != nil && !f.GetCue().GetOnBrakes() {
		add("firing", f.GetCue().DistanceM, false)
	}
	if last := off.GetCommit().GetLit(); last.GetExists() && !last.GetToLiftoff() {
		add("commit", last.DistanceM, false)
	}
	if r := off.GetRoll(); r != nil {
		if end := off.GetFiring(); end != nil && end.LastThrustS != nil && r.TimeS != nil && end.GetLastThrustS() < r.GetTimeS() {
			burnt := distanceAt(trace, end.GetLastThrustS())
			add("burnt out", &burnt, false)
		}
		add("lift-off", r.DistanceM, false)
	}
	if name, stop := stopPoint(off); stop != nil {
		add(name, stop, false)
	}
	if c := off.GetChance(); c != nil {
		add("run P99", c.RunP99M, false)
	}
	add("required", off.RequiredRunM, false)
	add("deck end", off.AvailableM, true)
	return marks
}

// stopPoint is where the aircraft is at rest when none of its units lights and it
// stops; without units, when it stops at the last moment that fits. Its name says
// which of the two it is.
func stopPoint(off *bowrollv1.Takeoff) (name string, at *float64) {
	for _, f := range off.GetFailures() {
		if f.GetKind() == bowrollv1.FailureKind_FAILURE_KIND_ALL_DUD {
			return "none lit: at rest", f.StopDistanceM
		}
	}
	if last := off.GetCommit().GetLit(); off.GetFiring() == nil && last.GetExists() && last.DistanceM != nil && last.StopDistanceM != nil {
		rest := last.GetDistanceM() + last.GetStopDistanceM()
		return "last stop: at rest", &rest
	}
	return "", nil
}

// distanceAt reads the distance at a time off the trace.
func distanceAt(trace *bowrollv1.TakeoffsTraceResponse, at float64) float64 {
	times, distances := trace.GetTimeS(), trace.GetDistanceM()
	for i := 1; i < min(len(times), len(distances)); i++ {
		if times[i] >= at {
			if times[i] == times[i-1] {
				return distances[i]
			}
			part := (at - times[i-1]) / (times[i] - times[i-1])
			return distances[i-1] + max(0, min(1, part))*(distances[i]-distances[i-1])
		}
	}
	return distances[len(distances)-1]
}
