package paper

import (
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// textWidth is the longest line of a text: what any terminal and any printer
// takes.
const textWidth = 76

// Text prints a document as text. Drawings are said in words.
func Text(w io.Writer, doc Document) error {
	var t textSheet
	for i, page := range doc.Pages {
		if i > 0 {
			t.line("\f")
		}
		t.page(page)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

type textSheet struct{ strings.Builder }

// line writes a line, without control characters: a name from elsewhere can do
// nothing to a terminal.
func (t *textSheet) line(text string) {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\f' || r == utf8.RuneError {
			return -1
		}
		return r
	}, text)
	t.WriteString(strings.ReplaceAll(strings.TrimRight(text, " "), string(held), " ") + "\n")
}

func (t *textSheet) page(p Page) {
	if p.Stamp != "" {
		t.line("*** " + p.Stamp + " ***")
	}
	t.line(strings.Repeat("=", textWidth))
	t.line(p.Name + strings.Repeat(" ", max(2, textWidth-letters(p.Name)-letters(p.Aside))) + p.Aside)
	t.set(p.Under, "", "")
	t.line(strings.Repeat("=", textWidth))
	for _, row := range p.Rows {
		if p.Across != "" { // no part that is torn off may pass for a whole one
			t.line("")
			t.line(across(p.Across))
		}
		for _, c := range row {
			t.cell(c)
		}
	}
	t.line(strings.Repeat("-", textWidth))
	for _, text := range p.Foot {
		t.set(text, "", "")
	}
}

// across repeats a word over the width of the text.
func across(word string) string {
	part := "*** " + word + " "
	return strings.Repeat(part, max(1, textWidth/letters(part))) + "***"
}

func (t *textSheet) cell(c Cell) {
	t.line("")
	if c.Title != "" {
		title := strings.ToUpper(c.Title)
		if c.Note != "" {
			title += "  (" + c.Note + ")"
		}
		t.set(title, "", "")
	}
	for _, b := range c.Blocks {
		switch b := b.(type) {
		case Fields:
			t.fields(b)
		case Figures:
			for _, text := range b.Aloud {
				t.set(text, "", "")
			}
			if len(b.Aloud) > 0 {
				continue
			}
			for _, f := range b.List {
				t.field(Field{Label: f.Label, Value: strings.TrimSpace(orNone(f.Value) + " " + f.Unit)})
			}
		case Table:
			t.table(b)
		case Lines:
			at := 0
			for _, l := range b {
				at = max(at, letters(l.Label)+2)
			}
			at = min(at, 24)
			for _, l := range b {
				t.set(orNone(l.Text), pad(l.Label, at, false), strings.Repeat(" ", at))
			}
		case Plain:
			t.set(orNone(b.Text), "", "")
		case Drawing:
			for _, words := range b.Words {
				t.set(words, "", "  ")
			}
		}
	}
}

const labelled = 30

func (t *textSheet) fields(b Fields) {
	for _, f := range b.List {
		t.field(f)
	}
}

func (t *textSheet) field(f Field) {
	value := orNone(f.Value)
	if f.Hand && f.Value == "" {
		value = strings.Repeat("_", 24)
	}
	label := pad(f.Label, labelled, false)
	if letters(f.Label) >= labelled {
		label = f.Label + "  "
	}
	t.set(value, label, strings.Repeat(" ", labelled))
}

// set writes a text after lead, its further lines after hang.
func (t *textSheet) set(text, lead, hang string) {
	if text == "" {
		return
	}
	line, room := lead, textWidth
	empty := true
	for _, word := range wordsOf(text) {
		if !empty && letters(line)+1+letters(word) > room {
			t.line(line)
			line, empty = hang, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	t.line(line)
}

// table sets columns at their natural widths, narrower by wrapping where they do
// not fit; where even that will not do, each row becomes a list of labelled
// values.
func (t *textSheet) table(b Table) {
	b = narrower(b)
	widths, total := make([]int, len(b.Columns)), 2*(len(b.Columns)-1)
	value := func(row []string, i int) string {
		if i < len(row) && row[i] != "" {
			return row[i]
		}
		if b.Columns[i].Hand {
			return "________"
		}
		return none
	}
	for i, c := range b.Columns {
		widths[i] = letters(c.Head)
		for _, row := range b.Rows {
			widths[i] = max(widths[i], letters(value(row, i)))
		}
		total += widths[i]
	}
	for ; total > textWidth; total-- {
		widest := 0
		for i := range widths {
			if widths[i] > widths[widest] {
				widest = i
			}
		}
		if widths[widest] <= 8 {
			t.list(b, value)
			return
		}
		widths[widest]--
	}
	draw := func(cells func(i int) string) {
		wrapped, tallest := make([][]string, len(b.Columns)), 1
		for i := range b.Columns {
			wrapped[i] = wrap(cells(i), widths[i])
			tallest = max(tallest, len(wrapped[i]))
		}
		for n := range tallest {
			var parts []string
			for i, c := range b.Columns {
				text := ""
				if n < len(wrapped[i]) {
					text = wrapped[i][n]
				}
				parts = append(parts, pad(text, widths[i], c.Right))
			}
			t.line(strings.Join(parts, "  "))
		}
	}
	draw(func(i int) string { return b.Columns[i].Head })
	draw(func(i int) string { return strings.Repeat("-", widths[i]) })
	for _, row := range b.Rows {
		draw(func(i int) string { return value(row, i) })
	}
}

// narrower leaves out the columns that give way, until the rest fits.
func narrower(b Table) Table {
	for {
		total, drop := 2*(len(b.Columns)-1), -1
		for i, c := range b.Columns {
			width := letters(c.Head)
			for _, row := range b.Rows {
				if i < len(row) {
					width = max(width, letters(row[i]))
				}
			}
			total += width
			if c.Rank > 0 && (drop < 0 || c.Rank > b.Columns[drop].Rank) {
				drop = i
			}
		}
		if total <= textWidth || drop < 0 {
			return b
		}
		left := Table{Columns: slices.Delete(slices.Clone(b.Columns), drop, drop+1), Strong: b.Strong}
		for _, row := range b.Rows {
			left.Rows = append(left.Rows, slices.Delete(slices.Clone(row), drop, min(drop+1, len(row))))
		}
		b = left
	}
}

// wrap breaks a text into lines of a width.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range wordsOf(text) {
		for letters(word) > width {
			if line != "" {
				lines, line = append(lines, line), ""
			}
			cut := []rune(word)
			lines, word = append(lines, string(cut[:width])), string(cut[width:])
		}
		switch {
		case line == "":
			line = word
		case letters(line)+1+letters(word) > width:
			lines, line = append(lines, line), word
		default:
			line += " " + word
		}
	}
	return append(lines, line)
}

func (t *textSheet) list(b Table, value func([]string, int) string) {
	for _, row := range b.Rows {
		var parts []string
		for i, c := range b.Columns {
			if i > 0 {
				parts = append(parts, c.Head+" "+value(row, i))
			}
		}
		t.set(strings.Join(parts, ", "), value(row, 0)+"  ", "    ")
	}
}

func letters(text string) int { return utf8.RuneCountInString(text) }

func pad(text string, width int, right bool) string {
	space := strings.Repeat(" ", max(0, width-letters(text)))
	if right {
		return space + text
	}
	return text + space
}
