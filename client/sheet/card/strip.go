package card

import (
	"cmp"
	"slices"
	"strings"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
)

// A mark is a place along the run that somebody looks for.
type mark struct {
	name string
	at   float64 // metres from the spot
}

// strip draws the run to scale: the deck from the spot to its end, what the run
// takes of it, and the marks.
func (s setting) strip() paper.Cell {
	n := s.Numbers
	cell := paper.Cell{Title: "The run, to scale", Note: "distances from the spot, in " + s.unit(figure.Length)}
	if n.AvailableM == nil || *n.AvailableM <= 0 {
		cell.Blocks = []paper.Block{paper.Plain{Text: "No run to draw."}}
		return cell
	}
	var marks []mark
	add := func(name string, at *float64) {
		if at != nil {
			marks = append(marks, mark{name: name, at: *at})
		}
	}
	if s.Cue != nil && !s.Cue.OnBrakes {
		add("firing", s.Cue.DistanceM)
	}
	if s.Check != nil {
		add("check", &s.Check.MarkM)
	}
	if s.Commit != nil && s.Commit.Lit != nil && s.Commit.Lit.Exists && !s.Commit.Lit.ToLiftoff {
		add("commit", s.Commit.Lit.DistanceM)
	}
	add("rotate", n.RotateDistanceM)
	add("run", n.RunM)
	add("required", n.RequiredRunM)
	marks = append(marks, mark{"deck end", *n.AvailableM})
	slices.SortStableFunc(marks, func(a, b mark) int { return cmp.Compare(a.at, b.at) })

	const width, left, deckH, tierH = 188.0, 1.0, 5.0, 3.7
	longest := *n.AvailableM
	for _, m := range marks {
		longest = max(longest, m.at)
	}
	x := func(at float64) float64 { return left + at/longest*(width-2*left) }
	const letter = 1.75 // room for one letter
	tags, texts, highest := make([]figure.Tag, len(marks)), make([]string, len(marks)), 0
	for i, m := range marks {
		texts[i] = m.name + " " + figure.Number(s.units, figure.Length, m.at)
		tags[i] = figure.Tag{X: x(m.at), Wide: float64(len(texts[i]))*letter + 1}
	}
	places := figure.PlaceTags(tags, width)
	for _, p := range places {
		highest = max(highest, p.Tier)
	}
	deckY := 5.2 + float64(highest)*tierH
	d := paper.Drawing{Width: width, Height: deckY + deckH + 4.4, Alt: "the run along the deck, to scale"}
	end := x(*n.AvailableM)
	box := func(to float64, fill paper.Fill, weight float64) {
		d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Box, X: x(0), Y: deckY, X2: to, Y2: deckY + deckH, Fill: fill, Weight: weight})
	}
	box(end, paper.White, 0)
	if n.RequiredRunM != nil {
		box(x(*n.RequiredRunM), paper.Hatched, 0)
	}
	if n.RunM != nil {
		box(x(*n.RunM), paper.Pale, 0)
	}
	box(end, paper.Open, 0.5)
	d.Shapes = append(d.Shapes, paper.Shape{Kind: paper.Stroke, X: end, Y: deckY - 1.2, X2: end, Y2: deckY + deckH + 1.2, Weight: 1.4})
	var words []string
	for i, m := range marks {
		y := deckY - 1.4 - float64(places[i].Tier)*tierH
		at, anchor := x(m.at)-0.7, paper.End
		if places[i].Right {
			at, anchor = x(m.at)+0.7, paper.Start
		}
		d.Shapes = append(d.Shapes,
			paper.Shape{Kind: paper.Stroke, X: x(m.at), Y: y - 2.5, X2: x(m.at), Y2: deckY + deckH, Weight: 0.35},
			paper.Shape{Kind: paper.Label, X: at, Y: y, Text: texts[i], Size: 3.1, Anchor: anchor, Strong: true})
		words = append(words, m.name+" "+figure.Measured(s.units, figure.Length, m.at))
	}
	d.Shapes = append(d.Shapes,
		paper.Shape{Kind: paper.Label, X: x(0), Y: deckY + deckH + 3.6, Text: "spot " + s.Spot, Size: 2.9},
		paper.Shape{Kind: paper.Label, X: width / 2, Y: deckY + deckH + 3.6, Text: "grey: the run.  hatched: what the policy asks on top.", Size: 2.9, Anchor: paper.Centre},
		paper.Shape{Kind: paper.Label, X: end, Y: deckY + deckH + 3.6, Text: "bow", Size: 2.9, Anchor: paper.End})
	d.Words = []string{strings.Join(words, ", ")}
	cell.Blocks = []paper.Block{d}
	return cell
}
