package sheet

import (
	"io"
	"strings"

	"bowroll/perf/quantity"
)

// readable is the longest line of running text that is easily read.
const readable = 100

// Style is how a sheet is drawn.
type Style struct {
	Width  int             // columns of the terminal; under 60 is taken as 60
	Colour bool            // whether the terminal shows colour
	Units  quantity.System // units that numbers are drawn in
}

// tone is what a text means, which colour underlines and never says alone.
type tone int

const (
	tonePlain tone = iota
	toneTitle
	toneGood
	toneCare
	toneBad
	toneQuiet
)

// paints are the terminal's own basic colours, which follow its theme.
var paints = map[tone]string{
	toneTitle: "\x1b[1m",
	toneGood:  "\x1b[32m",
	toneCare:  "\x1b[33m",
	toneBad:   "\x1b[1;31m",
	toneQuiet: "\x1b[2m",
}

// A page is a sheet being drawn.
type page struct {
	style Style
	text  strings.Builder
}

func newPage(style Style) *page {
	style.Width = max(style.Width, 60)
	return &page{style: style}
}

// write hands the page over.
func (p *page) write(w io.Writer) error {
	_, err := io.WriteString(w, p.text.String())
	return err
}

func (p *page) paint(t tone, text string) string {
	if code := paints[t]; p.style.Colour && code != "" && strings.TrimSpace(text) != "" {
		return code + text + "\x1b[0m"
	}
	return text
}

// line writes one line that is already set.
func (p *page) line(text string) {
	p.text.WriteString(strings.ReplaceAll(text, hold, " ") + "\n")
}

func (p *page) gap() { p.text.WriteByte('\n') }

// heading opens a part of the page, with a gap above it. aside stands at the
// right end of its line. A part that needs no name has the gap alone.
func (p *page) heading(text, aside string) {
	if p.text.Len() > 0 {
		p.gap()
	}
	if text == "" {
		return
	}
	line := p.paint(toneTitle, text)
	if room := p.style.Width - columns(text) - columns(aside); aside != "" && room > 1 {
		line += strings.Repeat(" ", room) + p.paint(toneQuiet, aside)
	}
	p.text.WriteString(line + "\n")
}

// paragraph sets a text into the width of the page; lines after the first
// stand in by hang columns more.
func (p *page) paragraph(t tone, text string, hang int) {
	for i, line := range wrap(clean(text), min(p.style.Width, readable)-hang) {
		if i > 0 {
			line = strings.Repeat(" ", hang) + line
		}
		p.line(p.paint(t, line))
	}
}

// labelled sets a text beside a label that takes at columns.
func (p *page) labelled(labelTone tone, label string, t tone, text string, at int) {
	for i, line := range wrap(clean(text), min(p.style.Width, readable)-at) {
		lead := strings.Repeat(" ", at)
		if i == 0 {
			lead = p.paint(labelTone, pad(label, at, false))
		}
		p.line(lead + p.paint(t, line))
	}
}
