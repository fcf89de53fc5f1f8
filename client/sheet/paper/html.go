package paper

import (
	_ "embed"
	"fmt"
	"html"
	"html/template"
	"io"
	"strconv"
	"strings"
)

//go:embed page.html
var pageHTML string

// HTML prints a document as one file that needs nothing else and prints on A4
// and Letter, each page on a sheet of its own.
func HTML(w io.Writer, doc Document) error {
	t, err := template.New("page").Funcs(template.FuncMap{
		"ornone": func(text string) string { return bind(orNone(text)) },
		"share":  func(s float64) template.CSS { return template.CSS(number(share(s)) + "fr") },
		"number": func(s float64) template.CSS { return template.CSS(number(share(s))) },
		"kind":   kindOf,
		"svg":    svg,
		"badge":  badgeClass,
		"short":  func(text string) bool { return len(text) <= 12 },
		"cell":   func(row []string, i int) string { return append(row, make([]string, i+1)...)[i] },
		"columns": func(f Fields) []([]Field) {
			columns := max(f.Columns, 1)
			rows := (len(f.List) + columns - 1) / columns
			var list [][]Field
			for c := range columns {
				list = append(list, f.List[min(c*rows, len(f.List)):min((c+1)*rows, len(f.List))])
			}
			return list
		},
	}).Parse(pageHTML)
	if err != nil {
		return fmt.Errorf("read the page's template: %w", err)
	}
	return t.Execute(w, doc)
}

// kindOf names a block for the template.
func kindOf(b Block) string {
	switch b.(type) {
	case Fields:
		return "fields"
	case Figures:
		return "figures"
	case Table:
		return "table"
	case Lines:
		return "lines"
	case Drawing:
		return "drawing"
	}
	return "plain"
}

// badgeClass returns the class of a word that is framed, or nothing.
func badgeClass(c Column, text string) string {
	fill, ok := c.Badges[text]
	switch {
	case !ok:
		return ""
	case fill == Black:
		return "filled"
	}
	return "framed"
}

// svg draws a drawing. Lines take the colour of the text, so that a dark screen
// shows them light.
func svg(d Drawing) template.HTML {
	var b strings.Builder
	class := "wide" // scrolls on a small screen rather than shrink
	if d.Width < 120 {
		class = "compact"
	}
	fmt.Fprintf(&b, `<svg viewBox="0 0 %s %s" class="%s" role="img" aria-label="%s">`, number(d.Width), number(d.Height), class, html.EscapeString(d.Alt))
	fmt.Fprintf(&b, `<title>%s</title>`, html.EscapeString(d.Alt))
	for _, s := range d.Shapes {
		dash := ""
		if s.Dashed {
			dash = ` stroke-dasharray="1.2 0.9"`
		}
		switch s.Kind {
		case Stroke:
			class := "ink"
			if s.Weight < faint {
				class = "faint"
			}
			fmt.Fprintf(&b, `<line x1="%s" y1="%s" x2="%s" y2="%s" class="%s" stroke-width="%s"%s/>`,
				number(s.X), number(s.Y), number(s.X2), number(s.Y2), class, number(s.Weight), dash)
		case Box:
			fmt.Fprintf(&b, `<rect x="%s" y="%s" width="%s" height="%s" class="%s"%s/>`,
				number(s.X), number(s.Y), number(s.X2-s.X), number(s.Y2-s.Y), fillClass(s.Fill), edge(s))
			if s.Fill == Hatched {
				hatched(&b, s)
			}
		case Polygon:
			var points []string
			for _, p := range s.Points {
				points = append(points, number(p[0])+","+number(p[1]))
			}
			fmt.Fprintf(&b, `<polygon points="%s" class="%s"%s/>`, strings.Join(points, " "), fillClass(s.Fill), edge(s))
		case Label:
			class, weight := "letter", ""
			if s.Inverse {
				class = "counter"
			}
			if s.Strong {
				weight = ` font-weight="700"`
			}
			fmt.Fprintf(&b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" class="%s"%s>%s</text>`, number(s.X), number(s.Y),
				number(s.Size), [...]string{"start", "middle", "end"}[s.Anchor], class, weight, html.EscapeString(printable(s.Text)))
		}
	}
	b.WriteString("</svg>")
	return template.HTML(b.String()) // every text in it was escaped above
}

func edge(s Shape) string {
	if s.Weight == 0 {
		return ""
	}
	return ` stroke="currentColor" stroke-width="` + number(s.Weight) + `"`
}

func fillClass(f Fill) string {
	return [...]string{"open", "white", "pale", "middle", "black", "white"}[f]
}

// hatched draws the slanted lines of a rectangle, cut at its edges.
func hatched(b *strings.Builder, s Shape) {
	width, height := s.X2-s.X, s.Y2-s.Y
	for d := 1.5 - height; d < width; d += 1.5 {
		from, to := max(d, 0), min(d+height, width)
		fmt.Fprintf(b, `<line x1="%s" y1="%s" x2="%s" y2="%s" class="ink" stroke-width="0.18"/>`,
			number(s.X+from), number(s.Y2-(from-d)), number(s.X+to), number(s.Y2-(to-d)))
	}
}

// number writes a coordinate, always alike.
func number(v float64) string {
	text := strconv.FormatFloat(v, 'f', 3, 64)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	if text == "-0" || text == "" {
		return "0"
	}
	return text
}
