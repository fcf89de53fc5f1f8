package cyclesheet

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"bowroll/client/sheet/figure"
	"bowroll/client/sheet/paper"
)

// A work is what is done on deck for one launch, in seconds after the cycle's
// start. What is absent is not known or not done.
type work struct {
	sortie                string
	teams                 []string
	fitFrom, ready        *float64
	testFrom, igniterFrom *float64
	launch                float64
	stays                 bool // it does not launch after all
	note                  string
}

// rowsPerDrawing keeps a drawing on one sheet of paper.
const rowsPerDrawing = 36

// timeline draws the work on deck as bars, one row a launch.
func (s Sheet) timeline() []paper.Cell {
	works := s.works()
	if len(works) == 0 {
		return nil
	}
	from, to := math.Inf(1), math.Inf(-1)
	for _, w := range works {
		if !w.stays {
			from, to = min(from, w.launch), max(to, w.launch)
		}
		if w.fitFrom != nil {
			from = min(from, *w.fitFrom)
		}
	}
	from, to = min(from, s.windowFrom(from)), max(to, s.windowTo(to))
	left, right := edges(works)
	step := gridStep((to - from) / (barsWide - left - right))
	from, to = math.Floor(from/step)*step, math.Ceil((to+1)/step)*step
	var cells []paper.Cell
	for first := 0; first < len(works); first += rowsPerDrawing {
		part := works[first:min(first+rowsPerDrawing, len(works))]
		cell := paper.Cell{Blocks: []paper.Block{s.bars(part, from, to, step)}}
		if first == 0 {
			cell.Title, cell.Note = "Timeline", "time of day, UTC"
			if text := s.pace(); text != "" {
				cell.Blocks = append(cell.Blocks, paper.Plain{Text: text})
			}
		}
		cells = append(cells, cell)
	}
	return cells
}

// The names of rows take the room that the longest needs, within bounds; a letter
// of them is about so wide.
const leastNames, mostNames, letterWide = 24.0, 56.0, 1.8

func nameRoom(names []string) float64 {
	room := leastNames
	for _, name := range names {
		room = max(room, 3+letterWide*float64(utf8.RuneCountInString(name)))
	}
	return min(room, mostNames)
}

// rowName is a name cut to the room that there is at most; the tables have it
// whole.
func rowName(name string) string {
	most := int(math.Floor((mostNames - 3) / letterWide))
	if letters := []rune(name); len(letters) > most {
		return string(letters[:most-1]) + "…"
	}
	return name
}

// barsWide is how wide a timeline is drawn.
const barsWide = 188.0

// edges are the room for names before the bars and for what stands behind the
// last launch.
func edges(works []work) (left, right float64) {
	names := make([]string, len(works))
	right = 14
	for i, w := range works {
		names[i] = w.sortie
		if !w.stays {
			right = max(right, 12+1.55*float64(len(w.note)))
		}
	}
	return nameRoom(names), right
}

// gridStep is the distance of the lines of a timeline on which a millimetre is so
// many seconds: far enough for the times above them.
func gridStep(perMillimetre float64) float64 {
	const label = 9.5
	for _, step := range []float64{60, 120, 300, 600, 900, 1800, 3600, 7200} {
		if step >= label*perMillimetre {
			return step
		}
	}
	return 14400
}

func (s Sheet) bars(works []work, from, to, step float64) paper.Drawing {
	const width, top, row = barsWide, 6.0, 4.6
	left, right := edges(works)
	bottom := top + row*float64(len(works))
	d := paper.Drawing{Width: width, Height: bottom + 9, Alt: "the work on deck over time"}
	x := func(t float64) float64 { return left + (t-from)/(to-from)*(width-left-right) }
	put := func(shapes ...paper.Shape) { d.Shapes = append(d.Shapes, shapes...) }
	for t := from; t <= to+1; t += step {
		put(paper.Shape{Kind: paper.Stroke, X: x(t), Y: top - 1, X2: x(t), Y2: bottom, Weight: 0.1},
			paper.Shape{Kind: paper.Label, X: x(t), Y: top - 2, Text: figure.Clock(s.start(), t), Size: 2.8, Anchor: paper.Centre})
	}
	s.window(&d, x, from, to, top, bottom)
	for i, w := range works {
		y := top + row*float64(i)
		put(paper.Shape{Kind: paper.Stroke, X: 0, Y: y + row, X2: width, Y2: y + row, Weight: 0.1},
			paper.Shape{Kind: paper.Label, X: 0, Y: y + row - 1.3, Text: rowName(w.sortie), Size: 3.1, Strong: true})
		bar := func(a, b float64, fill paper.Fill) {
			put(paper.Shape{Kind: paper.Box, X: x(a), Y: y + 0.7, X2: max(x(b), x(a)+0.5), Y2: y + row - 0.7, Fill: fill, Weight: 0.25})
		}
		fitTo := w.ready
		if w.testFrom != nil {
			fitTo = w.testFrom
		}
		if w.fitFrom != nil && fitTo != nil {
			bar(*w.fitFrom, *fitTo, paper.Pale)
			if label := strings.Join(w.teams, "+"); label != "" && x(*fitTo)-x(*w.fitFrom) > 2.2*float64(len(label)) {
				put(paper.Shape{Kind: paper.Label, X: (x(*w.fitFrom) + x(*fitTo)) / 2, Y: y + row - 1.5, Text: label, Size: 2.7, Anchor: paper.Centre})
			}
		}
		if w.testFrom != nil && w.ready != nil && *w.ready > *w.testFrom {
			bar(*w.testFrom, *w.ready, paper.Hatched)
		}
		if w.stays {
			put(paper.Shape{Kind: paper.Box, X: width - 3 - 1.6*float64(len(w.note)), Y: y + 0.6, X2: width - 0.5, Y2: y + row - 0.6, Fill: paper.White},
				paper.Shape{Kind: paper.Label, X: width - 1, Y: y + row - 1.3, Text: w.note, Size: 2.9, Anchor: paper.End, Strong: true})
			d.Words = append(d.Words, w.sortie+": "+w.note)
			continue
		}
		if w.igniterFrom != nil {
			bar(*w.igniterFrom, w.launch, paper.Black)
		}
		when := strings.TrimSpace(figure.Clock(s.start(), w.launch) + " " + w.note)
		put(paper.Shape{Kind: paper.Polygon, Fill: paper.Black, Points: [][2]float64{
			{x(w.launch), y + 0.6}, {x(w.launch) + 2.4, y + row/2}, {x(w.launch), y + row - 0.6}}},
			paper.Shape{Kind: paper.Box, X: x(w.launch) + 2.9, Y: y + 0.6, X2: x(w.launch) + 4 + 1.6*float64(len(when)), Y2: y + row - 0.6, Fill: paper.White},
			paper.Shape{Kind: paper.Label, X: x(w.launch) + 3.2, Y: y + row - 1.3, Text: when, Size: 2.9})
		d.Words = append(d.Words, s.said(w))
	}
	put(s.legend(works, left, bottom+4.2)...)
	return d
}

// legend says what the bars are; only those that are there.
func (s Sheet) legend(works []work, x, y float64) []paper.Shape {
	var fit, test, igniters bool
	for _, w := range works {
		fit, test, igniters = fit || w.fitFrom != nil, test || w.testFrom != nil, igniters || w.igniterFrom != nil
	}
	var shapes []paper.Shape
	put := func(there bool, fill paper.Fill, text string) {
		if !there {
			return
		}
		shapes = append(shapes, paper.Shape{Kind: paper.Box, X: x, Y: y - 2.2, X2: x + 5, Y2: y + 0.2, Fill: fill, Weight: 0.25},
			paper.Shape{Kind: paper.Label, X: x + 6.5, Y: y, Text: text, Size: 2.8})
		x += 10 + 1.6*float64(len(text))
	}
	put(fit, paper.Pale, "units fitted, by team")
	put(test, paper.Hatched, "circuit test")
	put(igniters, paper.Black, "igniters in")
	shapes = append(shapes, paper.Shape{Kind: paper.Polygon, Fill: paper.Black, Points: [][2]float64{{x, y - 2.4}, {x + 2.4, y - 1}, {x, y + 0.4}}},
		paper.Shape{Kind: paper.Label, X: x + 4, Y: y, Text: "launch", Size: 2.8})
	return shapes
}

// said is one row of the timeline in words.
func (s Sheet) said(w work) string {
	var parts []string
	if w.fitFrom != nil && w.ready != nil {
		parts = append(parts, fmt.Sprintf("units %s to %s", figure.Clock(s.start(), *w.fitFrom), figure.Clock(s.start(), *w.ready)))
		if len(w.teams) > 0 {
			parts[0] += " by team " + strings.Join(w.teams, "+")
		}
	}
	if w.igniterFrom != nil {
		parts = append(parts, "igniters "+figure.Clock(s.start(), *w.igniterFrom))
	}
	parts = append(parts, strings.TrimSpace("launch "+figure.Clock(s.start(), w.launch)+" "+w.note))
	return w.sortie + ": " + strings.Join(parts, ", ")
}
