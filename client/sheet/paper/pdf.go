package paper

import (
	"fmt"
	"io"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

const (
	margin   = 11.0 // millimetres
	smallest = 0.62 // scale below which a page is refused
	largest  = 1.16 // scale that a page with room to spare is set at
	face     = "sans"
	point    = 0.352778 // millimetres
)

// PDF prints a document. A page that would have to be set too small to read is
// an error that names it.
func PDF(w io.Writer, doc Document, size Size) error {
	f := sheets(size)
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(margin, margin, margin)
	f.SetCatalogSort(true)
	dated := doc.Dated
	if dated.IsZero() {
		dated = time.Unix(0, 0) // the library would read the clock
	}
	f.SetCreationDate(dated.UTC())
	f.SetModificationDate(dated.UTC())
	f.SetTitle(printable(doc.Title), true)
	f.SetLang("en")
	letters, err := newAlphabet()
	if err != nil {
		return err
	}
	for _, page := range doc.Pages {
		s := &setter{f: f, letters: letters, size: size, page: page, scale: 1}
		if err := s.set(); err != nil {
			return err
		}
	}
	if err := f.Error(); err != nil {
		return fmt.Errorf("set the PDF: %w", err)
	}
	return f.Output(w)
}

// sheets is an empty PDF of a size with our letters.
func sheets(size Size) *fpdf.Fpdf {
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: size.Width, Ht: size.Height}})
	f.AddUTF8FontFromBytes(face, "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes(face, "B", liberationsansbold.TTF)
	return f
}

// A setter sets one page. Measuring and drawing go through the same code: while
// dry is true nothing is drawn.
type setter struct {
	f       *fpdf.Fpdf
	letters *alphabet
	size    Size
	page    Page
	scale   float64
	dry     bool
	sheet   int     // sheets of this page so far
	top     float64 // where the head of the sheet ends
}

func (s *setter) width() float64  { return s.size.Width - 2*margin }
func (s *setter) bottom() float64 { return s.size.Height - margin - s.foot() }

func (s *setter) set() error {
	if !s.page.Flows {
		for s.scale = largest; ; s.scale -= 0.02 {
			if s.scale < smallest {
				return fmt.Errorf("page %q holds more than one sheet of %s takes at a size that can be read", s.page.Name, s.size.Name)
			}
			s.dry = true
			if s.rows(s.head()) <= s.bottom() {
				break
			}
		}
	}
	s.dry = false
	s.open()
	s.rows(s.head())
	return nil
}

// open begins a sheet of paper.
func (s *setter) open() {
	s.f.AddPage()
	s.sheet++
	s.drawAcross()
	s.drawFoot()
}

// head draws the head and returns where it ends.
func (s *setter) head() float64 {
	y, name := margin, s.page.Name
	if s.sheet > 1 {
		name += ", continued"
	}
	if s.page.Stamp != "" {
		s.fill(Black, margin, y, s.width(), 11)
		s.text(s.page.Stamp, margin+3, y+8, 20, true, Start, true)
		y += 13
	}
	s.rule(y, 1.2)
	y = s.name(name, y)
	small := 8.6 * min(1, s.scale)
	for _, line := range s.split(s.page.Under, s.width(), small, false) {
		s.text(line, margin, y+2.8, small, false, Start, false)
		y += 3.9 * min(1, s.scale)
	}
	y += 0.6
	s.rule(y, 0.35)
	s.top = y + 1.8*s.scale
	return s.top
}

// name sets the name of a page and what stands opposite it. A long name is set
// smaller, and over several lines where that does not do: it must not run into
// what stands opposite.
func (s *setter) name(name string, y float64) float64 {
	const large, least, step = 26.0, 15.0, 0.45
	aside := 20.0
	for aside > 8 && s.measure(s.page.Aside, aside, true) > s.width()*0.6 {
		aside -= 0.5
	}
	room := max(s.width()-s.measure(s.page.Aside, aside, true)-5, s.width()*0.25)
	size := large
	for size > least && s.measure(name, size, true) > room {
		size -= 0.5
	}
	s.text(s.page.Aside, margin+s.width(), y+9.6, aside, true, End, false)
	y += 9.6 - (large-size)*point*0.4
	for i, line := range s.split(name, room, size, true) {
		if i > 0 {
			y += size * step
		}
		s.text(line, margin, y, size, true, Start, false)
	}
	return y + 2.9
}

// rows draws the rows from y down and returns where they end.
func (s *setter) rows(y float64) float64 {
	for _, row := range s.page.Rows {
		if s.page.Flows && !s.dry {
			s.dry = true
			height := s.row(row, 0)
			s.dry = false
			if y+height > s.bottom() && len(row) == 1 && row[0].Long {
				y = s.flow(row[0], y)
				continue
			}
			if y+height > s.bottom() {
				s.open()
				y = s.head()
			}
		}
		y = s.row(row, y)
	}
	return y
}

// row draws cells side by side and returns where the longest ends.
func (s *setter) row(row Row, y float64) float64 {
	const gutter = 4.0
	total, end := 0.0, y
	for _, c := range row {
		total += share(c.Share)
	}
	x, room := margin, s.width()-gutter*float64(len(row)-1)
	for _, c := range row {
		width := room * share(c.Share) / total
		end = max(end, s.cell(c, x, y, width))
		x += width + gutter
	}
	return end + 1.7*s.scale
}

func (s *setter) cell(c Cell, x, y, width float64) float64 {
	y = s.title(c, x, y, width)
	for _, b := range c.Blocks {
		y = s.block(b, x, y, width) + 0.7*s.scale
	}
	return y
}

func (s *setter) title(c Cell, x, y, width float64) float64 {
	if c.Title == "" {
		return y
	}
	size := 8.6 * s.scale
	s.text(c.Title, x, y+size*point, size, true, Start, false)
	if c.Note != "" {
		room := width - s.measure(c.Title, size, true) - 3
		s.text(s.shorten(c.Note, room, size*0.9), x+width, y+size*point, size*0.9, false, End, false)
	}
	y += size*point + 1.1*s.scale
	s.line(x, y, x+width, y, 0.35, false)
	return y + 0.9*s.scale
}

// flow draws a cell that is longer than what is left, its tables over several
// sheets.
func (s *setter) flow(c Cell, y float64) float64 {
	if y > s.bottom()-25 {
		s.open()
		y = s.head()
	}
	y = s.title(c, margin, y, s.width())
	for _, b := range c.Blocks {
		t, isTable := b.(Table)
		if !isTable {
			y = s.place(c, b, y)
			continue
		}
		rows, strong := t.Rows, t.Strong
		for first := 0; first < len(rows); {
			part := Table{Columns: t.Columns, Strong: map[int]bool{}}
			count := 0
			for first+count < len(rows) {
				part.Rows = rows[first : first+count+1]
				s.dry = true
				tooLong := s.block(part, margin, y, s.width()) > s.bottom()
				s.dry = false
				if tooLong {
					break
				}
				count++
			}
			if count == 0 && y > s.top+30 {
				y = s.goOn(c)
				continue
			}
			count = max(count, 1)
			part.Rows = rows[first : first+count]
			for i := range part.Rows {
				part.Strong[i] = strong[first+i]
			}
			y = s.block(part, margin, y, s.width()) + 0.7
			if first += count; first < len(rows) {
				y = s.goOn(c)
			}
		}
	}
	return y + 1.7
}

// goOn begins a sheet for what is left of a cell, and says what that is of.
func (s *setter) goOn(c Cell) float64 {
	s.open()
	if c.Title != "" {
		c.Title += ", continued"
	}
	return s.title(c, margin, s.head(), s.width())
}

// place draws a block of a cell where it fits, on a new sheet if need be.
func (s *setter) place(c Cell, b Block, y float64) float64 {
	if lines, ok := b.(Lines); ok {
		for _, l := range lines {
			y = s.whole(c, Lines{l}, y)
		}
		return y
	}
	return s.whole(c, b, y)
}

func (s *setter) whole(c Cell, b Block, y float64) float64 {
	s.dry = true
	end := s.block(b, margin, y, s.width())
	s.dry = false
	if end > s.bottom() {
		y = s.goOn(c)
	}
	return s.block(b, margin, y, s.width()) + 0.7
}

const footSize = 7.2

func (s *setter) footLines() []string {
	var lines []string
	for _, text := range s.page.Foot {
		lines = append(lines, s.split(text, s.width(), footSize, false)...)
	}
	return lines
}

func (s *setter) foot() float64 { return float64(len(s.footLines()))*3.1 + 1.5 }

func (s *setter) drawFoot() {
	y := s.size.Height - margin - s.foot()
	s.rule(y, 0.35)
	for i, line := range s.footLines() {
		s.text(line, margin, y+3.3+float64(i)*3.1, footSize, false, Start, false)
	}
	if s.page.Flows {
		s.text(fmt.Sprintf("sheet %d", s.sheet), margin+s.width(), s.size.Height-margin-0.3, footSize, true, End, false)
	}
}
