package card

import (
	"fmt"
	"math"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
)

// fire is the cue in all its ways.
func (s setting) fire() paper.Cell {
	cell := paper.Cell{Title: "Firing"}
	if s.Cue == nil {
		cell.Blocks = []paper.Block{paper.Plain{Text: "No units are fitted: there is nothing to fire."}}
		return cell
	}
	c := s.Cue
	after := given(c.TimeS, figure.Seconds) + " after brake release"
	if c.OnBrakes {
		after = "on the brakes; let go " + given(c.ReactionS, figure.Seconds) + " after thrust is felt"
	} else if c.TimeS != nil && *c.TimeS == 0 {
		after = "at brake release"
	}
	end := notGiven
	if e := s.Numbers.BurnEndMinusLiftoffS; e != nil {
		end = figure.Seconds(*e) + " after lift-off"
		if *e < 0 {
			end = figure.Seconds(-*e) + " before lift-off"
		}
	}
	fields := []paper.Field{
		{Label: "Command", Value: after},
		{Label: "Airspeed then", Value: s.measured(figure.Speed, c.AirspeedMPS)},
	}
	if a, b := s.measured(figure.Speed, c.AirspeedMPS), s.measured(figure.Speed, c.CreditedMPS); a != b {
		fields = append(fields, paper.Field{Label: "Airspeed then, wind as credited", Value: b})
	}
	fields = append(fields,
		paper.Field{Label: "Mark on deck then", Value: s.measured(figure.Length, c.DistanceM) + " from the spot"},
		paper.Field{Label: "Burn ends", Value: end},
		paper.Field{Label: "Half a second early / late costs", Value: s.measured(figure.Length, c.EarlyM) + " / " + s.measured(figure.Length, c.LateM)})
	cell.Blocks = []paper.Block{paper.Fields{List: fields}}
	return cell
}

// stopOrGo is the check line and the commit points.
func (s setting) stopOrGo() paper.Cell {
	lines := paper.Lines{{Label: "Check", Text: s.checkLine(), Strong: s.Check != nil}}
	if s.Commit == nil {
		lines = append(lines, paper.Line{Label: "Commit", Text: "not known: no stop may be relied on that is not listed below"})
	} else {
		lit := "Commit, units lit"
		if s.Cue == nil {
			lit = "Commit"
		}
		lines = append(lines, paper.Line{Label: lit, Text: s.lastStop(s.Commit.Lit), Strong: true})
		if s.Commit.Unlit != nil && s.Cue != nil {
			lines = append(lines, paper.Line{Label: "Commit, none lit", Text: s.lastStop(s.Commit.Unlit), Strong: true})
		}
	}
	return paper.Cell{Title: "Stop or go", Blocks: []paper.Block{lines}}
}

// checkLine says what to see at the mark, and what is too little.
func (s setting) checkLine() string {
	c := s.Check
	if c == nil {
		return "not computed: there is no acceleration check on this card"
	}
	text := fmt.Sprintf("at %s expect %s and %s", s.measured(figure.Length, &c.MarkM), given(c.ExpectedS, figure.Seconds), s.measured(figure.Speed, c.ExpectedMPS))
	switch {
	case c.StopFits == nil || !*c.StopFits:
		return text + "; a stop from there no longer fits: GO"
	case c.LeastMPS != nil:
		return text + "; under " + s.least(figure.Speed, c.LeastMPS) + " STOP"
	case c.LatestS != nil:
		return text + "; later than " + figure.SecondsAtMost(*c.LatestS) + " STOP"
	}
	return text
}

// lastStop says up to where a stop fits.
func (s setting) lastStop(l *Last) string {
	switch {
	case l == nil:
		return notGiven
	case !l.Exists:
		return "no stop fits once the brakes are off: GO"
	case l.ToLiftoff:
		return "a stop fits up to lift-off"
	}
	return fmt.Sprintf("stop no later than %s, %s, %s; after that GO", s.most(figure.Length, l.DistanceM),
		given(l.TimeS, figure.SecondsAtMost), s.most(figure.Speed, l.AirspeedMPS))
}

// badges are the words that a hand on the throttle looks for.
var badges = map[string]paper.Fill{
	string(Stop): paper.Black, string(Go): paper.Open, string(GoOrStop): paper.Open, string(Unprovided): paper.Black,
	"HOLD": paper.Black, "WAIT": paper.Black,
}

// failures is what to do when something fails.
func (s setting) failures() paper.Cell {
	t := paper.Table{Columns: []paper.Column{
		{Head: "If", Share: 1.5}, {Head: "do", Share: 0.9, Badges: badges}, {Head: "which then takes", Share: 3},
	}, Strong: map[int]bool{}}
	for _, a := range s.Actions {
		t.Strong[len(t.Rows)] = true
		t.Rows = append(t.Rows, []string{a.When, string(a.Do), s.takes(a)})
	}
	if len(s.Actions) == 0 {
		t.Rows = append(t.Rows, []string{"No units fitted", "–", "no booster failure to provide for"})
	}
	t.Rows = append(t.Rows, []string{"Wind, mass, air or time leaves the box", "HOLD", "the card is void; ask for a new one"})
	if z := s.Zones.MisfireWaitS; z != nil {
		t.Rows = append(t.Rows, []string{"A unit has not fired", "WAIT", fmt.Sprintf("nobody approaches for %.0f min after the aircraft has stopped", math.Ceil(*z/60))})
	}
	return paper.Cell{Title: "If something fails", Blocks: []paper.Block{t}}
}

// takes says what an action takes; what it says that suffices does, rounded up.
func (s setting) takes(a Action) string {
	known := ""
	if a.KnowS != nil {
		known = ", known by " + figure.SecondsAtLeast(*a.KnowS)
	}
	switch a.Do {
	case Stop:
		return "at rest within " + s.least(figure.Length, a.StopM) + known
	case Go:
		return "a run of at most " + s.least(figure.Length, a.GoM) + " of " + s.measured(figure.Length, s.Numbers.AvailableM)
	case Unprovided:
		return "neither a stop nor a run that fits"
	}
	return a.Which
}

func (s setting) load() paper.Cell {
	return paper.Cell{Title: "Aircraft as it must be", Blocks: []paper.Block{paper.Fields{List: []paper.Field{
		{Label: "Mass, no units on", Value: s.measured(figure.Mass, s.Load.GrossMassKG)},
		{Label: "Mass from a second source", Hand: true},
		{Label: "Mass at lift-off, units on", Value: s.measured(figure.Mass, s.Load.LiftoffMassKG)},
		{Label: "Flap", Value: stated(s.Load.Flap)},
		{Label: "Trim", Hand: true},
		{Label: "Thrust", Value: "full, before the brakes go"},
	}}}}
}

func (s setting) environment() paper.Cell {
	e := s.Environment
	wind := s.measured(figure.Speed, e.HeadwindMPS)
	if e.PlannedOn != "" {
		wind += ", on the " + e.PlannedOn
	}
	natural := notGiven
	if e.NaturalFromDeg != nil {
		natural = figure.Bearing(*e.NaturalFromDeg) + " at " + s.measured(figure.Speed, e.NaturalMPS) +
			", lull " + s.measured(figure.Speed, e.LullMPS) + ", gust " + s.measured(figure.Speed, e.GustMPS)
	}
	ship := notGiven
	if e.CourseDeg != nil {
		ship = figure.Bearing(*e.CourseDeg) + " true at " + s.measured(figure.Speed, e.ShipMPS)
	}
	return paper.Cell{Title: "Wind, air and deck used", Blocks: []paper.Block{paper.Fields{List: []paper.Field{
		{Label: "Headwind", Value: wind},
		{Label: "Headwind, credited", Value: s.measured(figure.Speed, e.CreditedHeadwindMPS)},
		{Label: "Crosswind", Value: s.cross(e.CrosswindMPS)},
		{Label: "Natural wind", Value: natural},
		{Label: "Read at", Value: stated(e.WindSource)},
		{Label: "Ship", Value: ship},
		{Label: "Air", Value: s.measured(figure.Temperature, e.TemperatureC) + ", " + s.measured(figure.Pressure, e.PressurePa)},
		{Label: "Pressure altitude", Value: s.measured(figure.Height, e.PressureAltitudeM)},
		{Label: "Rolling friction", Value: given(e.RollingFriction, func(v float64) string { return figure.Fixed(v, 3) })},
	}}}}
}

// cross writes a crosswind with the side it comes from.
func (s setting) cross(v *float64) string {
	text := s.measured(figure.Speed, v)
	if v == nil || nought(text) {
		return text
	}
	return strings.TrimPrefix(text, "-") + " from " + sideOf(*v)
}

// to writes a distance to a side.
func (s setting) to(v float64) string {
	text := s.measured(figure.Length, &v)
	if nought(text) {
		return text
	}
	return strings.TrimPrefix(text, "-") + " to " + sideOf(v)
}

func sideOf(v float64) string {
	if v > 0 {
		return "starboard"
	}
	return "port"
}

// nought reports whether a number reads as zero.
func nought(measured string) bool {
	number, _, _ := strings.Cut(measured, " ")
	return strings.Trim(number, "-0.") == ""
}

// fewUnits is how many units have a line each with all that is known of them;
// more share their lots' lines and stand in columns.
const (
	fewUnits    = 8
	unitColumns = 4
)

// stations is a line for each unit, serials and igniters to be written in: the
// igniters last.
func (s setting) stations() []paper.Row {
	const note = "igniters only at the launch point"
	units := s.Load.Units
	switch {
	case len(units) == 0:
		return []paper.Row{{{Title: "Units", Blocks: []paper.Block{paper.Plain{Text: "None fitted."}}}}}
	case len(units) <= fewUnits:
		t := paper.Table{Columns: []paper.Column{
			{Head: "Station", Share: 0.8}, {Head: "Lot"}, {Head: "Type", Share: 1.3}, {Head: "Grain", Right: true, Share: 0.8},
			{Head: "Unit serial", Share: 1.7, Hand: true}, {Head: "Igniter serial (fitted last)", Share: 1.7, Hand: true}, {Head: "Circuit, ohm", Share: 1.1, Hand: true},
		}}
		for _, u := range units {
			t.Rows = append(t.Rows, []string{u.Station, u.Lot, u.Type, s.measured(figure.Temperature, u.GrainC), u.Serial, "", ""})
		}
		return []paper.Row{{{Title: "Units", Note: note, Blocks: []paper.Block{t}}}}
	}
	var lots paper.Lines
	for first := 0; first < len(units); {
		u, count := units[first], 0
		for first+count < len(units) && units[first+count].Lot == u.Lot {
			count++
		}
		lots = append(lots, paper.Line{Label: u.Lot, Text: fmt.Sprintf("%d of %s, grain %s, from station %s to %s below", count, u.Type,
			s.measured(figure.Temperature, u.GrainC), u.Station, units[first+count-1].Station)})
		first += count
	}
	var cells paper.Row
	each := (len(units) + unitColumns - 1) / unitColumns
	for first := 0; first < len(units); first += each {
		t := paper.Table{Columns: []paper.Column{{Head: "Station"}, {Head: "Unit serial", Hand: true}, {Head: "Igniter serial, last", Hand: true}}}
		for _, u := range units[first:min(first+each, len(units))] {
			t.Rows = append(t.Rows, []string{u.Station, u.Serial, ""})
		}
		cells = append(cells, paper.Cell{Blocks: []paper.Block{t}})
	}
	return []paper.Row{{{Title: "Units", Note: note, Blocks: []paper.Block{lots}}}, cells}
}

func (s setting) zones() paper.Cell {
	z := s.Zones
	fields := []paper.Field{{Label: "Exhaust", Value: "no units fitted"}}
	if len(s.Load.Units) > 0 {
		fields = []paper.Field{{Label: "Exhaust, clear behind", Value: s.least(figure.Length, z.KeepClearM) + " (" + z.KeepClearBasis + ")"}}
		if d := z.Drop; d != nil {
			fields = append(fields,
				paper.Field{Label: "Spent units come down", Value: s.measured(figure.Length, &d.NearM) + " to " + s.measured(figure.Length, &d.FarM) + " on " + given(d.TrackDeg, figure.Bearing)},
				paper.Field{Label: "Across the track", Value: s.to(d.LeftM) + ", " + s.to(d.RightM)},
				paper.Field{Label: "All down after", Value: figure.Seconds(d.ClearS)})
		} else {
			fields = append(fields, paper.Field{Label: "Drop zone, bearing and distance", Hand: true})
		}
		fields = append(fields, paper.Field{Label: "Hung-up unit: landing limit", Hand: true})
	}
	return paper.Cell{Title: "Keep clear", Blocks: []paper.Block{paper.Fields{List: fields}}}
}

// hands is what people sign.
func (s setting) hands() paper.Cell {
	return paper.Cell{Title: "Signed", Note: "name and time", Blocks: []paper.Block{paper.Fields{List: []paper.Field{
		{Label: "Armament, igniters in", Hand: true},
		{Label: "Deck, zones clear", Hand: true},
		{Label: "Crew, read back", Hand: true},
		s.waivers(),
	}}}}
}

func (s setting) cautions() paper.Cell {
	lines := paper.Lines{}
	for _, c := range s.Cautions {
		label := strings.ToUpper(c.Severity)
		if c.Severity == "note" {
			label = "note"
		}
		lines = append(lines, paper.Line{Label: label, Text: c.Text, Strong: c.Severity != "note"})
		if c.Waiver != nil {
			lines = append(lines, s.waived(c.Waiver))
		}
	}
	return paper.Cell{Title: "Cautions", Blocks: []paper.Block{lines}}
}
