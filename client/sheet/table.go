package sheet

import (
	"slices"
	"strings"
)

// A column of a table. Two lines of heading stand over it: what it is, and its
// unit or the rest of its name.
type column struct {
	head  string
	under string
	right bool // numbers are set to the right
	// rank is the order in which columns give way where the terminal is narrow:
	// the highest first, 0 never.
	rank int
	// least is the width down to which a column may be narrowed by wrapping its
	// cells; 0 is never.
	least int
}

// A cell of a table.
type cell struct {
	text string
	tone tone
}

type table struct {
	columns []column
	rows    [][]cell
}

// row adds a row: a cell for each column, or a single one that takes the whole
// width and stands over the rows after it.
func (t *table) row(cells ...cell) { t.rows = append(t.rows, cells) }

// plain makes cells of texts.
func plain(texts ...string) []cell {
	cells := make([]cell, len(texts))
	for i, text := range texts {
		cells[i] = cell{text: text}
	}
	return cells
}

// draw sets the table into the width of the page.
func (p *page) table(t table) {
	kept, widths, gap := t.fit(p.style.Width)
	if sum(widths)+gap*(len(widths)-1) > p.style.Width {
		p.records(t)
		return
	}
	between := strings.Repeat(" ", gap)
	heads, unders, any := make([]cell, len(kept)), make([]cell, len(kept)), false
	for i, c := range kept {
		heads[i] = cell{text: t.columns[c].head}
		unders[i] = cell{text: t.columns[c].under}
		any = any || t.columns[c].under != ""
	}
	p.cells(t, kept, widths, between, heads)
	if any {
		p.cells(t, kept, widths, between, unders)
	}
	total := gap * (len(widths) - 1)
	for _, w := range widths {
		total += w
	}
	p.line(p.paint(toneQuiet, strings.Repeat("─", total)))
	for _, row := range t.rows {
		if len(row) == 1 && len(t.columns) > 1 {
			p.paragraph(row[0].tone, row[0].text, 0)
			continue
		}
		picked := make([]cell, len(kept))
		for i, c := range kept {
			picked[i] = row[c]
		}
		p.cells(t, kept, widths, between, picked)
	}
	if p.style.Width < usual && len(kept) < len(t.columns) {
		p.paragraph(toneQuiet, "A wider terminal shows "+t.without(kept)+" too.", 0)
	}
}

// usual is the width of a terminal, in columns. One that is narrower is told what it
// does not show.
const usual = 80

// without names the columns that were left out.
func (t table) without(kept []int) string {
	var names []string
	for i, c := range t.columns {
		if !slices.Contains(kept, i) {
			names = append(names, c.name())
		}
	}
	return strings.ToLower(strings.Join(names, ", "))
}

// name is what stands over a column, in one line.
func (c column) name() string {
	if whole, split := strings.CutSuffix(c.head, "-"); split {
		return whole + c.under
	}
	return strings.TrimSpace(c.head + " " + c.under)
}

// records draws a table that the width is too small for, whatever gives way: each
// row as a list of what it holds, none left out. A line that the terminal breaks
// would set numbers under the wrong heading.
func (p *page) records(t table) {
	for _, row := range t.rows {
		if len(row) == 1 && len(t.columns) > 1 {
			p.paragraph(row[0].tone, row[0].text, 0)
			continue
		}
		var parts []string
		for i, c := range row {
			parts = append(parts, strings.TrimSpace(t.columns[i].name()+" "+c.text))
		}
		p.paragraph(tonePlain, strings.Join(parts, "; "), 2)
	}
}

// cells draws one row, on as many lines as its tallest cell needs.
func (p *page) cells(t table, kept, widths []int, between string, row []cell) {
	wrapped, tallest := make([][]string, len(row)), 0
	for i, c := range row {
		wrapped[i] = wrap(c.text, widths[i])
		tallest = max(tallest, len(wrapped[i]))
	}
	for n := range tallest {
		parts := make([]string, len(row))
		for i := range row {
			text := ""
			if n < len(wrapped[i]) {
				text = wrapped[i][n]
			}
			parts[i] = p.paint(row[i].tone, pad(text, widths[i], t.columns[kept[i]].right))
		}
		p.line(strings.TrimRight(strings.Join(parts, between), " "))
	}
}

// fit chooses the columns to show, their widths and the gap between them: all
// of them, two apart, where there is room; else one apart; else narrower by
// wrapping; else without the column that gives way first.
func (t table) fit(room int) (kept, widths []int, gap int) {
	for i := range t.columns {
		kept = append(kept, i)
	}
	for {
		widths = t.natural(kept)
		for gap = 2; gap >= 1; gap-- {
			if sum(widths)+gap*(len(kept)-1) <= room {
				return kept, widths, gap
			}
		}
		gap = 1
		t.narrow(kept, widths, sum(widths)+gap*(len(kept)-1)-room)
		if sum(widths)+gap*(len(kept)-1) <= room {
			return kept, widths, gap
		}
		drop := -1
		for i, c := range kept {
			if t.columns[c].rank > 0 && (drop < 0 || t.columns[c].rank > t.columns[kept[drop]].rank) {
				drop = i
			}
		}
		if drop < 0 {
			return kept, widths, gap
		}
		kept = slices.Delete(kept, drop, drop+1)
	}
}

// natural returns the widths at which nothing is wrapped.
func (t table) natural(kept []int) []int {
	widths := make([]int, len(kept))
	for i, c := range kept {
		widths[i] = max(columns(t.columns[c].head), columns(t.columns[c].under))
		for _, row := range t.rows {
			if len(row) == 1 && len(t.columns) > 1 {
				continue
			}
			widths[i] = max(widths[i], columns(row[c].text))
		}
	}
	return widths
}

// narrow takes excess columns away from the widest columns that may wrap.
func (t table) narrow(kept, widths []int, excess int) {
	for ; excess > 0; excess-- {
		widest := -1
		for i, c := range kept {
			least := t.columns[c].least
			if least > 0 && widths[i] > least && (widest < 0 || widths[i] > widths[widest]) {
				widest = i
			}
		}
		if widest < 0 {
			return
		}
		widths[widest]--
	}
}

func sum(list []int) int {
	n := 0
	for _, v := range list {
		n += v
	}
	return n
}
