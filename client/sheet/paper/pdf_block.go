package paper

// block draws a block at x, y into a width and returns where it ends.
func (s *setter) block(b Block, x, y, width float64) float64 {
	switch b := b.(type) {
	case Fields:
		return s.fields(b, x, y, width)
	case Figures:
		return s.figures(b, x, y, width)
	case Table:
		return s.table(b, x, y, width)
	case Lines:
		return s.lines(b, x, y, width)
	case Plain:
		return s.paragraph(b.Text, x, y, width, 8.8*s.scale, b.Strong)
	case Drawing:
		return s.drawing(b, x, y, width)
	}
	return y
}

// fields fill their columns downwards, so that neighbours in the list stand one
// below the other.
func (s *setter) fields(b Fields, x, y, width float64) float64 {
	columns := max(b.Columns, 1)
	rows := (len(b.List) + columns - 1) / columns
	const gutter = 4.0
	each := (width - gutter*float64(columns-1)) / float64(columns)
	size, end := 8.8*s.scale, y
	for c := range columns {
		at, top := x+float64(c)*(each+gutter), y
		for _, f := range b.List[min(c*rows, len(b.List)):min((c+1)*rows, len(b.List))] {
			labelled := s.measure(f.Label, size*0.92, false) + 1.5
			lines := s.split(orNone(f.Value), each-labelled, size, true)
			if f.Hand && f.Value == "" {
				lines = []string{""}
			}
			height := size*point*1.1 + 0.9*s.scale
			s.text(f.Label, at, top+height-1.05*s.scale, size*0.92, false, Start, false)
			for i, line := range lines {
				s.text(line, at+each, top+height*float64(i+1)-1.05*s.scale, size, true, End, false)
			}
			top += height * float64(len(lines))
			if f.Hand {
				s.line(at+labelled, top-0.5*s.scale, at+each, top-0.5*s.scale, 0.3, false)
				top += 1.2 * s.scale
			} else {
				s.line(at, top-0.2*s.scale, at+each, top-0.2*s.scale, 0.1, false)
			}
		}
		end = max(end, top)
	}
	return end
}

func (s *setter) figures(b Figures, x, y, width float64) float64 {
	const gutter = 2.0
	list := b.List
	height, total, at := 15*s.scale, 0.0, x
	for _, f := range list {
		total += share(f.Share)
	}
	for _, f := range list {
		each := (width - gutter*float64(len(list)-1)) * share(f.Share) / total
		s.outline(at, y, each, height, 0.5)
		s.text(f.Label, at+each/2, y+3.6*s.scale, 7.4*s.scale, false, Centre, false)
		size := 19 * s.scale
		for size > 9*s.scale && s.measure(orNone(f.Value), size, true) > each-2 {
			size -= 0.5
		}
		s.text(orNone(f.Value), at+each/2, y+10.3*s.scale, size, true, Centre, false)
		s.text(f.Unit, at+each/2, y+13.8*s.scale, 7.4*s.scale, false, Centre, false)
		at += each + gutter
	}
	return y + height + 0.4
}

func (s *setter) table(t Table, x, y, width float64) float64 {
	const gap = 2.0
	total := 0.0
	for _, c := range t.Columns {
		total += share(c.Share)
	}
	widths, left := make([]float64, len(t.Columns)), make([]float64, len(t.Columns))
	room, at := width-gap*float64(len(t.Columns)-1), x
	for i, c := range t.Columns {
		widths[i], left[i] = room*share(c.Share)/total, at
		at += widths[i] + gap
		if i > 0 && t.Columns[i-1].Right && !c.Right { // else they would read as one
			left[i], widths[i] = left[i]+1.2, widths[i]-1.2
		}
	}
	heads := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		heads[i] = c.Head
	}
	y = s.tableRow(t, heads, left, widths, y, 7.4*s.scale, false, true)
	s.line(x, y, x+width, y, 0.35, false)
	y += 0.5 * s.scale
	for i, row := range t.Rows {
		y = s.tableRow(t, row, left, widths, y, 8.8*s.scale, t.Strong[i], false)
		s.line(x, y, x+width, y, 0.1, false)
	}
	return y
}

func (s *setter) tableRow(t Table, row []string, left, widths []float64, y, size float64, strong, heading bool) float64 {
	step, tallest := size*point*1.12+0.35*s.scale, 1
	for i, c := range t.Columns {
		text := ""
		if i < len(row) {
			text = row[i]
		}
		if text == "" && !heading && c.Hand {
			s.line(left[i], y+step+0.6*s.scale, left[i]+widths[i], y+step+0.6*s.scale, 0.3, false)
			continue
		}
		if fill, ok := c.Badges[text]; ok && !heading {
			s.badge(text, fill, left[i], y, step, size)
			continue
		}
		lines := s.split(text, widths[i], size, strong)
		if text == "" && !heading {
			lines = []string{none}
		}
		tallest = max(tallest, len(lines))
		for n, line := range lines {
			base := y + step*float64(n+1) - 0.75*s.scale
			if c.Right {
				s.text(line, left[i]+widths[i], base, size, strong, End, false)
			} else {
				s.text(line, left[i], base, size, strong, Start, false)
			}
		}
	}
	extra := 0.4
	for i, c := range t.Columns {
		if c.Hand && !heading && (i >= len(row) || row[i] == "") {
			extra = 1.4
		}
	}
	return y + step*float64(tallest) + extra*s.scale
}

// badge frames a word.
func (s *setter) badge(text string, fill Fill, x, y, step, size float64) {
	width := s.measure(text, size, true) + 2.4
	s.fill(fill, x, y+0.1, width, step)
	s.outline(x, y+0.1, width, step, 0.3)
	s.text(text, x+1.2, y+step-0.65*s.scale, size, true, Start, fill == Black)
}

// lines stand with their labels in one column, as wide as the widest of them.
func (s *setter) lines(list Lines, x, y, width float64) float64 {
	size, at := 8.8*s.scale, 0.0
	for _, l := range list {
		at = max(at, s.measure(l.Label, size, true)+2.5)
	}
	at = min(at, width*0.4)
	for _, l := range list {
		s.text(l.Label, x, y+size*point+0.2, size, true, Start, false)
		y = s.paragraph(l.Text, x+at, y, width-at, size, l.Strong)
	}
	return y
}

func (s *setter) paragraph(text string, x, y, width, size float64, strong bool) float64 {
	step := size*point*1.18 + 0.2*s.scale
	for _, line := range s.split(orNone(text), width, size, strong) {
		s.text(line, x, y+size*point+0.2, size, strong, Start, false)
		y += step
	}
	return y + 0.35*s.scale
}

func (s *setter) drawing(d Drawing, x, y, width float64) float64 {
	k := width / d.Width
	if !s.dry {
		for _, shape := range d.Shapes {
			s.shape(shape, x, y, k)
		}
	}
	return y + d.Height*k
}

func (s *setter) shape(p Shape, x, y, k float64) {
	x1, y1, x2, y2 := x+p.X*k, y+p.Y*k, x+p.X2*k, y+p.Y2*k
	switch p.Kind {
	case Stroke:
		s.line(x1, y1, x2, y2, p.Weight, p.Dashed)
	case Box:
		s.fill(p.Fill, x1, y1, x2-x1, y2-y1)
		if p.Weight > 0 {
			s.outline(x1, y1, x2-x1, y2-y1, p.Weight)
		}
	case Polygon:
		s.polygon(p, x, y, k)
	case Label:
		s.text(p.Text, x1, y1, p.Size*k/point, p.Strong, p.Anchor, p.Inverse)
	}
}

// hatch draws slanted lines, clipped to a rectangle.
func (s *setter) hatch(x, y, width, height float64) {
	const step = 1.5
	s.f.ClipRect(x, y, width, height, false)
	for d := -height; d < width; d += step {
		s.line(x+d, y+height, x+d+height, y, 0.18, false)
	}
	s.f.ClipEnd()
}

// level is the grey of a fill, 0 black.
func level(fill Fill) int {
	switch fill {
	case Pale:
		return 218
	case Middle:
		return 150
	case Black:
		return 0
	}
	return 255
}
