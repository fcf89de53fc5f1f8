package chart

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"html"
	"image/color"
	"io"
	"path/filepath"
	"slices"
	"strings"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Format is the form that a picture is written in.
type Format int

// The formats. The zero value is none of them.
const (
	SVG Format = iota + 1
	PNG
)

// FormatOf returns the format that a file's name asks for.
func FormatOf(file string) (Format, error) {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".svg":
		return SVG, nil
	case ".png":
		return PNG, nil
	}
	return 0, fmt.Errorf("%s: a chart is written as .svg or .png", file)
}

// Style is how a picture is drawn.
type Style struct {
	Format Format
	Units  quantity.System
	// WidthPX is how many pixels wide a PNG is; 0 means 1 200.
	WidthPX int
	// About says what the picture is of, e.g. "corvane, spot s3"; it may be empty.
	About string
}

// The layout is made for this width, in points; a phone shows a point as about a
// pixel.
const (
	width   = 400.0
	margin  = 14.0
	small   = 9.5
	body    = 11.0
	heading = 14.0
)

// Shades, from ink to the palest field.
var (
	ink   = color.Gray{0x00}
	dark  = color.Gray{0x55}
	rule  = color.Gray{0xb0}
	paper = color.Gray{0xff}
)

// field is the shade of the n-th of several nested fields, the outermost palest.
func field(n, count int) color.Gray {
	if count < 2 {
		return color.Gray{0xd8}
	}
	return color.Gray{uint8(0xe8 - 0x60*n/(count-1))}
}

// A canvas is a picture being drawn, y upwards from its lower edge, in points.
type canvas struct {
	draw.Canvas
	height  float64
	handler text.Handler
	write   func(io.Writer) (int64, error)
	// name and about say to those who do not see it what it shows.
	name, about string
}

// newCanvas makes an empty picture of a height.
func newCanvas(style Style, height float64) *canvas {
	c := &canvas{height: height, handler: handler()}
	w, h := vg.Length(width), vg.Length(height)
	if style.Format == PNG {
		pixels := style.WidthPX
		if pixels <= 0 {
			pixels = 1200
		}
		image := vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(pixels*72/int(width)))
		c.Canvas, c.write = draw.New(image), vgimg.PngCanvas{Canvas: image}.WriteTo
	} else {
		image := vgsvg.New(w, h)
		c.Canvas, c.write = draw.New(image), c.inPixels(image)
	}
	c.fill(paper, []vg.Point{at(0, 0), at(width, 0), at(width, height), at(0, height)})
	return c
}

// inPixels writes an SVG whose size is in pixels, as its coordinates are: a point
// is a third more, and the picture would not fit a phone. Its title and what it
// says come first, for those who have it read out.
func (c *canvas) inPixels(image *vgsvg.Canvas) func(io.Writer) (int64, error) {
	return func(w io.Writer) (int64, error) {
		var whole bytes.Buffer
		if _, err := image.WriteTo(&whole); err != nil {
			return 0, err
		}
		head, rest, found := bytes.Cut(whole.Bytes(), []byte("viewBox"))
		if !found {
			return 0, errors.New("the picture has no head")
		}
		tag, rest, found := bytes.Cut(rest, []byte(">"))
		if !found {
			return 0, errors.New("the picture has no body")
		}
		// Several pictures may stand in one page: ids are of what is drawn.
		sum := sha256.Sum256(slices.Concat([]byte(c.name+"\x00"+c.about), whole.Bytes()))
		id := hex.EncodeToString(sum[:6])
		words := fmt.Sprintf(` role="img" aria-labelledby="name-%[1]s about-%[1]s"><title id="name-%[1]s">%[2]s</title><desc id="about-%[1]s">%[3]s</desc>`,
			id, html.EscapeString(printable(c.name)), html.EscapeString(printable(c.about)))
		n, err := w.Write(slices.Concat(bytes.ReplaceAll(head, []byte(`pt"`), []byte(`"`)), []byte("viewBox"), tag, []byte(words), rest))
		return int64(n), err
	}
}

func handler() text.Handler { return text.Plain{Fonts: font.NewCache(liberation.Collection())} }

func at(x, y float64) vg.Point { return vg.Point{X: vg.Length(x), Y: vg.Length(y)} }

func (c *canvas) fill(shade color.Color, points []vg.Point) { c.FillPolygon(shade, points) }

// A pen is how a line is drawn.
type pen struct {
	shade  color.Color
	weight float64
	dashes []float64
}

func (c *canvas) line(p pen, points ...vg.Point) {
	style := draw.LineStyle{Color: p.shade, Width: vg.Length(p.weight)}
	for _, d := range p.dashes {
		style.Dashes = append(style.Dashes, vg.Length(d))
	}
	c.StrokeLines(style, points)
}

// A letter is how a text is set.
type letter struct {
	size   float64
	bold   bool
	shade  color.Color
	across draw.XAlignment
	up     draw.YAlignment
}

func (l letter) style(h text.Handler) text.Style {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: font.Length(l.size)}
	if l.bold {
		f.Weight = xfont.WeightBold
	}
	shade := l.shade
	if shade == nil {
		shade = ink
	}
	return text.Style{Color: shade, Font: f, XAlign: l.across, YAlign: l.up, Handler: h}
}

// say sets a text.
func (c *canvas) say(l letter, x, y float64, words string) {
	c.FillText(l.style(c.handler), at(x, y), words)
}

// clear sets a text on a patch of paper, so that lines behind it do not cross it.
func (c *canvas) clear(l letter, x, y float64, words string) {
	style := l.style(c.handler)
	w, h := float64(style.Width(words))+4, l.size+3
	left := x + float64(l.across)*w
	low := y - h/2
	c.fill(paper, []vg.Point{at(left-1, low), at(left+w-3, low), at(left+w-3, low+h), at(left-1, low+h)})
	l.up = draw.YCenter
	c.say(l, x, y, words)
}

// wide is how wide a text is.
func wide(h text.Handler, l letter, words string) float64 { return float64(l.style(h).Width(words)) }

// wrap breaks a text into lines no wider than room.
func wrap(h text.Handler, l letter, words string, room float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(words) {
		if next := strings.TrimSpace(line + " " + word); wide(h, l, next) <= room || line == "" {
			line = next
			continue
		}
		lines = append(lines, line)
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// notice is said under every picture.
const notice = "Advice only: the approved flight manual, the ordnance instructions, local codes and the officers responsible decide."

// A foot is what stands under a picture.
type foot struct {
	lines []footLine
}

type footLine struct {
	letter
	words string
}

// newFoot sets cautions, notes and where the numbers come from.
func newFoot(cautions []*bowrollv1.Caution, notes []string, from *bowrollv1.Provenance) foot {
	var f foot
	h := handler()
	add := func(l letter, words string) {
		for _, line := range wrap(h, l, words, width-2*margin) {
			f.lines = append(f.lines, footLine{l, line})
		}
	}
	for _, note := range notes {
		add(letter{size: small}, note)
	}
	listed := slices.Clone(cautions)
	slices.SortStableFunc(listed, func(a, b *bowrollv1.Caution) int { return int(b.GetSeverity()) - int(a.GetSeverity()) })
	for _, c := range listed {
		label := map[bowrollv1.Severity]string{
			bowrollv1.Severity_SEVERITY_WARNING: "WARNING: ", bowrollv1.Severity_SEVERITY_CAUTION: "CAUTION: ",
		}[c.GetSeverity()]
		add(letter{size: small, bold: label != ""}, label+printable(c.GetText()))
	}
	add(letter{size: small, bold: true}, notice)
	if from != nil {
		add(letter{size: 7.5, shade: dark}, "Model "+from.GetModelVersion()+", catalog "+from.GetCatalogRevision()+", request "+from.GetRequestDigest())
	}
	return f
}

func (f foot) height() float64 {
	h := 10.0
	for _, l := range f.lines {
		h += l.size + 3
	}
	return h
}

func (f foot) draw(c *canvas) {
	y := f.height()
	c.line(pen{rule, 0.6, nil}, at(margin, y), at(width-margin, y))
	y -= 4
	for _, l := range f.lines {
		y -= l.size + 3
		c.say(l.letter, margin, y+3, l.words)
	}
}

// printable takes out of a text what is no letter, so that a name from elsewhere
// can do nothing to a picture.
func printable(words string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, words)
}

// title sets the head of a picture and returns how far down it reaches.
func title(c *canvas, top string, lines ...string) float64 {
	c.name, c.about = top, strings.Join(lines, " ")
	y := c.height - margin - heading
	c.say(letter{size: heading, bold: true}, margin, y, top)
	for _, line := range lines {
		for _, part := range wrap(c.handler, letter{size: body}, printable(line), width-2*margin) {
			y -= body + 4
			c.say(letter{size: body}, margin, y, part)
		}
	}
	return y - 8
}
