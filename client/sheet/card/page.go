package card

import (
	"fmt"
	"strings"
	"time"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
	"bowroll/perf/quantity"
)

// notice is said on every card.
const notice = "This card advises. The approved flight manual, the ordnance instructions for the unit, local codes and the officers and licensed people responsible decide. Nothing is fired by it."

// A setting is a card in one system of units.
type setting struct {
	Card
	units quantity.System
}

// Page sets the card for paper, screen and text.
func (c Card) Page(units quantity.System) paper.Page {
	s := setting{c, units}
	p := paper.Page{
		Name:  c.Sortie,
		Aside: strings.TrimSpace(spotName(c.Spot) + "   " + c.Slot.Format("15:04") + " UTC"),
		Under: s.under(),
		Foot:  []string{notice, s.provenance()},
	}
	if len(c.Refusals) > 0 {
		p.Stamp = "NO CARD: REFUSED"
		reasons := paper.Lines{}
		for i, r := range c.Refusals {
			reasons = append(reasons, paper.Line{Label: fmt.Sprint(i+1) + ".", Text: r, Strong: true})
		}
		p.Rows = []paper.Row{{{Title: "Why there is no card", Blocks: []paper.Block{reasons}}}}
		if len(c.Cautions) > 0 {
			p.Rows = append(p.Rows, paper.Row{s.cautions()})
		}
		return p
	}
	if len(c.Voids) > 0 {
		p.Across, p.Stamp = "VOID", "VOID: NOT FOR USE"
		reasons := paper.Lines{}
		for i, r := range c.Voids {
			reasons = append(reasons, paper.Line{Label: fmt.Sprint(i+1) + ".", Text: r, Strong: true})
		}
		p.Rows = append(p.Rows, paper.Row{{Title: "Why it is void", Note: "digest " + c.Digest, Blocks: []paper.Block{reasons}}})
	} else { // what is void is not read out
		if s.Since != nil && len(s.Since.Changed) > 0 {
			p.Stamp = "CATALOG CHANGED SINCE: SEE CAUTIONS"
		}
		p.Rows = append(p.Rows, paper.Row{s.readBack()})
	}
	p.Rows = append(p.Rows, []paper.Row{
		{s.strip()},
		{s.boxCell(), s.run()},
		{s.fire(), s.stopOrGo()},
		{s.failures()},
		{s.load(), s.environment()},
	}...)
	p.Rows = append(append(p.Rows, s.stations()...), paper.Row{s.zones(), s.hands()})
	if len(c.Cautions) > 0 {
		p.Rows = append(p.Rows, paper.Row{s.cautions()})
	}
	return p
}

func spotName(spot string) string {
	if spot == "" {
		return ""
	}
	return "spot " + spot
}

func (s setting) under() string {
	revision := "revision\u00a0____"
	if s.Revision != nil {
		revision = fmt.Sprintf("revision %d", *s.Revision)
	}
	issued := "issued\u00a0at\u00a0________\u00a0UTC"
	if s.IssuedAt != nil {
		issued = "issued " + s.IssuedAt.UTC().Format("2 Jan 2006 15:04") + " UTC"
	}
	by := "by\u00a0________________"
	if s.IssuedBy != "" {
		by = "by " + s.IssuedBy
	}
	parts := []string{"Card " + s.ID + ", " + revision}
	if !s.Slot.Equal(s.Planned) {
		parts = append(parts, "planned for "+clockOf(s.Planned)+", later for the work on deck")
	}
	for _, part := range []string{s.Aircraft, s.Purpose, s.Cycle + " " + s.Slot.Format("2 Jan 2006"), s.Deck, issued + " " + by} {
		if strings.TrimSpace(part) != "" {
			parts = append(parts, part)
		}
	}
	return strings.Join(parts, "  |  ")
}

func (s setting) provenance() string {
	return fmt.Sprintf("Read-back %s. Model %s, data %s, request %s.", s.Digest, s.ModelVersion, s.CatalogRevision, s.RequestDigest)
}

// notGiven is written for what is not there, so that nobody takes it for zero.
const notGiven = "not given"

// given writes a number that may be absent.
func given[T any](v *T, write func(T) string) string {
	if v == nil {
		return notGiven
	}
	return write(*v)
}

// stated is a text that may be absent.
func stated(text string) string {
	if text == "" {
		return notGiven
	}
	return text
}

// number writes a number that may be absent, without its unit.
func (s setting) number(m figure.Measure, v *float64) string {
	return given(v, func(v float64) string { return figure.Number(s.units, m, v) })
}

// measured writes a number that may be absent, with its unit.
func (s setting) measured(m figure.Measure, v *float64) string {
	return given(v, func(v float64) string { return figure.Measured(s.units, m, v) })
}

func (s setting) unit(m figure.Measure) string { return figure.Unit(s.units, m) }

// least and most write a limit rounded to its safe side.
func (s setting) least(m figure.Measure, v *float64) string {
	return given(v, func(v float64) string { return figure.AtLeast(s.units, m, v) })
}

func (s setting) most(m figure.Measure, v *float64) string {
	return given(v, func(v float64) string { return figure.AtMost(s.units, m, v) })
}

func clockOf(t time.Time) string { return t.UTC().Format("15:04") }

// split takes a number and its unit apart.
func split(measured string) (number, unit string) {
	number, unit, _ = strings.Cut(measured, " ")
	return number, unit
}

// readBack is the digest and the six numbers that are said aloud and read back.
func (s setting) readBack() paper.Cell {
	head, headUnit := split(s.least(figure.Speed, s.Box.LeastHeadwindMPS))
	fire := paper.Figure{Label: "Firing", Value: "none", Unit: "no units"}
	if s.Cue != nil {
		fire = paper.Figure{Label: "Firing", Value: given(s.Cue.TimeS, func(v float64) string { return figure.Fixed(v, 1) }), Unit: "s after release"}
		if s.Cue.OnBrakes {
			fire.Value, fire.Unit = "brakes", "then let go"
		}
	}
	return paper.Cell{Title: "Read back", Note: "digest, then six numbers", Blocks: []paper.Block{
		paper.Figures{Aloud: s.aloud(), List: []paper.Figure{
			{Label: "Digest", Value: s.Digest, Share: 1.55},
			{Label: "Mass, no units on", Value: s.number(figure.Mass, s.Load.GrossMassKG), Unit: s.unit(figure.Mass), Share: 1.15},
			fire,
			{Label: "Rotate", Value: s.number(figure.Speed, s.Numbers.RotateMPS), Unit: s.unit(figure.Speed) + " airspeed"},
			{Label: "Required run", Value: s.number(figure.Length, s.Numbers.RequiredRunM), Unit: s.unit(figure.Length) + " of " + s.measured(figure.Length, s.Numbers.AvailableM)},
			{Label: "Headwind at least", Value: head, Unit: headUnit},
			{Label: "Void after", Value: clockOf(s.VoidAfter), Unit: "UTC"},
		}},
	}}
}

func (s setting) run() paper.Cell {
	n := s.Numbers
	margin := s.measured(figure.Length, n.MarginM)
	if n.MarginM != nil && n.RequiredRunM != nil && *n.RequiredRunM > 0 {
		margin += fmt.Sprintf(", %s of the required run", figure.Percent(*n.MarginM / *n.RequiredRunM))
	}
	high := "Run, high percentile"
	if n.Percentile != nil {
		high = fmt.Sprintf("Run P%.0f", *n.Percentile*100)
	}
	required := "Required run"
	if n.RunFactor != nil {
		required = "Required run (x " + figure.Fixed(*n.RunFactor, 2) + ")"
	}
	lit := given(n.GradientWithBoosters, figure.Percent)
	if len(s.Load.Units) == 0 {
		lit = "no units fitted"
	}
	return paper.Cell{Title: "Run and climb", Blocks: []paper.Block{paper.Fields{List: []paper.Field{
		{Label: "Run", Value: s.measured(figure.Length, n.RunM)},
		{Label: "Run P50", Value: s.measured(figure.Length, n.RunP50M)},
		{Label: high, Value: s.measured(figure.Length, n.RunPercentileM)},
		{Label: "Chance of lift-off in the run available", Value: given(n.Probability, figure.Percent)},
		{Label: required, Value: s.measured(figure.Length, n.RequiredRunM)},
		{Label: "Run available", Value: s.measured(figure.Length, n.AvailableM)},
		{Label: "Margin", Value: margin},
		{Label: "Rotate", Value: s.measured(figure.Speed, n.RotateMPS) + " at " + s.measured(figure.Length, n.RotateDistanceM) + ", " + given(n.RotateS, figure.Seconds)},
		{Label: "Climb, boosters lit", Value: lit},
		{Label: "Climb, boosters spent", Value: given(n.GradientWithoutBooster, figure.Percent)},
	}}}}
}

func (s setting) boxCell() paper.Cell {
	b := s.Box
	head := "at least " + s.least(figure.Speed, b.LeastHeadwindMPS)
	if b.GreatestHeadwindMPS != nil {
		head += ", at most " + s.most(figure.Speed, b.GreatestHeadwindMPS)
	}
	fields := []paper.Field{
		{Label: "Headwind, credited", Value: head},
		{Label: "Crosswind, either side", Value: atMost(s.most(figure.Speed, b.GreatestCrosswindMPS))},
		{Label: "Mass, no units on", Value: between(s.least(figure.Mass, b.LeastMassKG), s.most(figure.Mass, b.GreatestMassKG))},
		{Label: "Air", Value: between(s.least(figure.Temperature, b.ColdestC), s.most(figure.Temperature, b.HottestC))},
	}
	if len(s.Load.Units) > 0 {
		fields = append(fields, paper.Field{Label: "Grain, every unit", Value: between(s.least(figure.Temperature, b.GrainLeastC), s.most(figure.Temperature, b.GrainGreatestC))})
	}
	place := "exactly on it"
	if b.SpotM != nil && *b.SpotM >= 0.3 {
		place = "within " + s.most(figure.Length, b.SpotM) + " of it"
	}
	if s.Spot != "" {
		fields = append(fields, paper.Field{Label: "Spot " + s.Spot, Value: place})
	}
	fields = append(fields, paper.Field{Label: "Until", Value: s.VoidAfter.UTC().Format("15:04 UTC") + ", " + s.VoidBecause})
	return paper.Cell{Title: "Holds only inside this box", Note: "outside any side: void", Blocks: []paper.Block{paper.Fields{List: fields}}}
}

func atMost(text string) string {
	if text == notGiven {
		return text
	}
	return "at most " + text
}

// between says a range of which either end may be absent.
func between(low, high string) string {
	switch {
	case low == notGiven && high == notGiven:
		return notGiven
	case low == notGiven:
		return "at most " + high
	case high == notGiven:
		return "at least " + low
	case low == high:
		return low
	}
	return low + " to " + high
}
