package paper

import (
	"math"

	"codeberg.org/go-pdf/fpdf"
)

// font chooses the letters; size is in points.
func (s *setter) font(size float64, strong bool) {
	style := ""
	if strong {
		style = "B"
	}
	s.f.SetFont(face, style, size)
}

func (s *setter) measure(text string, size float64, strong bool) float64 {
	s.font(size, strong)
	return s.f.GetStringWidth(s.letters.write(text))
}

// split breaks a text into lines of a width: at blanks, or inside a word that is
// longer than a line, behind its last hyphen that fits if it has one.
func (s *setter) split(text string, width, size float64, strong bool) []string {
	if text == "" {
		return nil
	}
	s.font(size, strong)
	var lines []string
	line := ""
	for _, word := range wordsOf(text) {
		word = s.letters.write(word)
		for {
			longer := word
			if line != "" {
				longer = line + " " + word
			}
			if s.f.GetStringWidth(longer) <= width {
				line = longer
				break
			}
			if line != "" {
				lines, line = append(lines, line), ""
				continue
			}
			letters := []rune(word)
			n := len(letters)
			for n > 1 && s.f.GetStringWidth(string(letters[:n])) > width {
				n--
			}
			for at := n - 1; at > 0 && n < len(letters); at-- { // rather behind a hyphen
				if letters[at] == '-' || letters[at] == '/' {
					n = at + 1
					break
				}
			}
			if n == len(letters) { // a single letter wider than the line
				line = word
				break
			}
			lines, word = append(lines, string(letters[:n])), string(letters[n:])
		}
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// shorten cuts a text that is only an aside to a width.
func (s *setter) shorten(text string, width, size float64) string {
	if s.measure(text, size, false) <= width {
		return text
	}
	letters := []rune(text)
	for len(letters) > 0 && s.measure(string(letters)+"…", size, false) > width {
		letters = letters[:len(letters)-1]
	}
	return string(letters) + "…"
}

func (s *setter) text(text string, x, y, size float64, strong bool, anchor Anchor, inverse bool) {
	if s.dry || text == "" {
		return
	}
	s.font(size, strong)
	text = s.letters.write(text)
	switch anchor {
	case Centre:
		x -= s.f.GetStringWidth(text) / 2
	case End:
		x -= s.f.GetStringWidth(text)
	}
	if inverse {
		s.f.SetTextColor(255, 255, 255)
	}
	s.f.Text(x, y, text)
	s.f.SetTextColor(0, 0, 0)
}

func (s *setter) line(x1, y1, x2, y2, weight float64, dashed bool) {
	if s.dry {
		return
	}
	grey := 0
	if weight < faint {
		grey = 150
	}
	s.f.SetDrawColor(grey, grey, grey)
	s.f.SetLineWidth(weight)
	if dashed {
		s.f.SetDashPattern([]float64{1.2, 0.9}, 0)
		defer s.f.SetDashPattern(nil, 0)
	}
	s.f.Line(x1, y1, x2, y2)
}

func (s *setter) rule(y, weight float64) { s.line(margin, y, margin+s.width(), y, weight, false) }

func (s *setter) outline(x, y, width, height, weight float64) {
	if s.dry {
		return
	}
	s.f.SetDrawColor(0, 0, 0)
	s.f.SetLineWidth(weight)
	s.f.Rect(x, y, width, height, "D")
}

func (s *setter) fill(fill Fill, x, y, width, height float64) {
	if s.dry || fill == Open {
		return
	}
	grey := level(fill)
	s.f.SetFillColor(grey, grey, grey)
	s.f.Rect(x, y, width, height, "F")
	if fill == Hatched {
		s.hatch(x, y, width, height)
	}
}

// drawAcross prints the page's word from corner to corner, pale enough to read
// what stands on it, between two rules that a poor copy still shows.
func (s *setter) drawAcross() {
	if s.dry || s.page.Across == "" {
		return
	}
	const size = 150.0
	grey := level(Pale)
	word := s.letters.write(s.page.Across)
	s.font(size, true)
	wide := s.f.GetStringWidth(word)
	x, y := s.size.Width/2, s.size.Height/2
	s.f.TransformBegin()
	s.f.TransformRotate(math.Atan2(s.size.Height, s.size.Width)*180/math.Pi, x, y)
	s.f.SetTextColor(grey, grey, grey)
	s.f.Text(x-wide/2, y+size*point*0.36, word)
	s.f.SetTextColor(0, 0, 0)
	for _, off := range []float64{-size * point * 0.55, size * point * 0.55} {
		s.line(0, y+off, s.size.Width, y+off, 0.7, false)
	}
	s.f.TransformEnd()
}

func (s *setter) polygon(p Shape, x, y, k float64) {
	points := make([]fpdf.PointType, len(p.Points))
	for i, at := range p.Points {
		points[i] = fpdf.PointType{X: x + at[0]*k, Y: y + at[1]*k}
	}
	style := ""
	if p.Fill != Open {
		grey := level(p.Fill)
		s.f.SetFillColor(grey, grey, grey)
		style = "F"
	}
	if p.Weight > 0 {
		s.f.SetDrawColor(0, 0, 0)
		s.f.SetLineWidth(p.Weight)
		style += "D"
	}
	if style != "" {
		s.f.Polygon(points, style)
	}
}
