package sheet

import (
	"io"
	"slices"
	"strings"

	"bowroll/client/sheet/figure"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// WindTable draws the least headwinds of a deck: a block for each aircraft type,
// flap setting, spot, grain and air temperature, a row for each mass and a column
// for each unit count.
func WindTable(w io.Writer, style Style, about string, rows []*bowrollv1.WindTableRow, summary *bowrollv1.WindTableSummary) error {
	p := newPage(style)
	p.warnings(alone(summary.GetCautions()))
	p.heading("LEAST HEADWINDS", clean(about))
	reasons := new(footnotes)
	for _, block := range windBlocks(rows) {
		p.windBlock(block, reasons)
	}
	p.gap()
	p.paragraph(toneQuiet, "Credited headwind in "+p.unit(speed)+" by mass without units. "+
		"any: every wind in range does. A plus after a number: more than the deck's ceiling. "+none+": no wind does; the letter says why.", 0)
	for i, reason := range reasons.list {
		p.labelled(tonePlain, letterOf(i), tonePlain, reason, 3)
	}
	p.heading("BETWEEN CELLS", "")
	p.paragraph(tonePlain, summary.GetBetweenCells(), 0)
	p.cautions("CAUTIONS", without(alone(summary.GetCautions()), bowrollv1.Severity_SEVERITY_WARNING))
	p.provenance(summary.GetProvenance())
	return p.write(w)
}

// A windBlock is the rows that one small table shows.
type windBlock struct {
	first *bowrollv1.WindTableRow
	// grain is of the units in it; absent without any.
	grain   *float64
	booster string
	counts  []int32
	masses  []float64
	cells   map[windCell]*bowrollv1.WindTableRow
}

type windCell struct {
	mass  float64
	count int32
}

// windBlocks sorts rows into blocks, in the order in which they come. Cells
// without units stand in every block of their load.
func windBlocks(rows []*bowrollv1.WindTableRow) []*windBlock {
	type place struct {
		kind, flap, spot string
		run, air         float64
	}
	byPlace := map[place][]*bowrollv1.WindTableRow{}
	var places []place
	for _, r := range rows {
		at := place{r.GetAircraftType(), r.GetFlap(), r.GetSpot(), r.GetAvailableM(), r.GetTemperatureC()}
		if byPlace[at] == nil {
			places = append(places, at)
		}
		byPlace[at] = append(byPlace[at], r)
	}
	var blocks []*windBlock
	for _, at := range places {
		var grains []*float64
		for _, r := range byPlace[at] {
			g := r.GrainTemperatureC
			if g != nil && !slices.ContainsFunc(grains, func(k *float64) bool { return *k == *g }) {
				grains = append(grains, g)
			}
		}
		if len(grains) == 0 {
			grains = []*float64{nil}
		}
		for _, g := range grains {
			b := &windBlock{first: byPlace[at][0], grain: g, cells: map[windCell]*bowrollv1.WindTableRow{}}
			for _, r := range byPlace[at] {
				if r.GrainTemperatureC != nil && *r.GrainTemperatureC != *g {
					continue
				}
				b.add(r)
			}
			blocks = append(blocks, b)
		}
	}
	return blocks
}

func (b *windBlock) add(r *bowrollv1.WindTableRow) {
	if !slices.Contains(b.counts, r.GetUnitCount()) {
		b.counts = append(b.counts, r.GetUnitCount())
	}
	if !slices.Contains(b.masses, r.GetGrossMassKg()) {
		b.masses = append(b.masses, r.GetGrossMassKg())
	}
	if r.GetBoosterType() != "" {
		b.booster = r.GetBoosterType()
	}
	b.cells[windCell{r.GetGrossMassKg(), r.GetUnitCount()}] = r
}

// windBlock draws one block.
func (p *page) windBlock(b *windBlock, reasons *footnotes) {
	at := strings.ToUpper(short(clean(b.first.GetAircraftType()))) + ", flap " + clean(b.first.GetFlap())
	if b.first.GetSpot() != "" {
		at += ", spot " + clean(b.first.GetSpot())
	}
	aside := p.measured(length, b.first.GetAvailableM()) + ", air " + p.measured(temperature, b.first.GetTemperatureC())
	if b.grain != nil {
		aside += ", " + short(clean(b.booster)) + " at " + p.measured(temperature, *b.grain)
	}
	p.heading(at, aside)
	t := table{columns: []column{{head: "Mass", under: p.unit(mass), right: true}}}
	for _, n := range b.counts {
		t.columns = append(t.columns, column{head: plural(int(n), "unit", "units"), right: true})
	}
	for _, m := range b.masses {
		cells := plain(p.number(mass, m))
		for _, n := range b.counts {
			cells = append(cells, p.windCell(b.cells[windCell{m, n}], reasons))
		}
		t.row(cells...)
	}
	p.table(t)
}

func (p *page) windCell(r *bowrollv1.WindTableRow, reasons *footnotes) cell {
	switch {
	case r.GetState() == bowrollv1.LimitState_LIMIT_STATE_NO_LIMIT_IN_RANGE:
		return cell{text: "any"}
	case r.GetState() != bowrollv1.LimitState_LIMIT_STATE_FOUND:
		return cell{text: none + reasons.letter(clean(r.GetReason())), tone: toneCare}
	case r.GetOverCeiling():
		return cell{text: figure.Alone(p.atLeast(speed, r.GetLeastHeadwindMps())) + "+", tone: toneCare}
	}
	return cell{text: figure.Alone(p.atLeast(speed, r.GetLeastHeadwindMps()))}
}

// footnotes gives every sentence a letter.
type footnotes struct{ list []string }

func (f *footnotes) letter(text string) string {
	if text == "" {
		return ""
	}
	i := slices.Index(f.list, text)
	if i < 0 {
		i = len(f.list)
		f.list = append(f.list, text)
	}
	return letterOf(i)
}

// letterOf is a, b … z, aa, ab …
func letterOf(i int) string {
	text := string(rune('a' + i%26))
	if i >= 26 {
		return letterOf(i/26-1) + text
	}
	return text
}
