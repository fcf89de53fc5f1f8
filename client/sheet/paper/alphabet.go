package paper

import (
	"fmt"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
)

// An alphabet knows which letters the fonts of PDF files can show. It is for one
// document at a time.
type alphabet struct {
	fonts  []*sfnt.Font
	buffer sfnt.Buffer
	known  map[rune]bool
}

func newAlphabet() (*alphabet, error) {
	a := &alphabet{known: map[rune]bool{}}
	for _, source := range [][]byte{liberationsansregular.TTF, liberationsansbold.TTF} {
		font, err := sfnt.Parse(source)
		if err != nil {
			return nil, fmt.Errorf("read the font: %w", err)
		}
		a.fonts = append(a.fonts, font)
	}
	return a, nil
}

// write writes a text in the alphabet. What the fonts lack is a question mark,
// which is noticed, rather than a gap, which is not.
func (a *alphabet) write(text string) string {
	written := []rune(printable(text))
	for i, r := range written {
		if !a.has(r) {
			written[i] = '?'
		}
	}
	return string(written)
}

// has reports whether every font has a letter. The library that sets the PDF
// takes letters of the basic plane only.
func (a *alphabet) has(r rune) bool {
	if has, known := a.known[r]; known {
		return has
	}
	has := r <= 0xffff
	for _, font := range a.fonts {
		glyph, err := font.GlyphIndex(&a.buffer, r)
		has = has && err == nil && glyph != 0
	}
	a.known[r] = has
	return has
}
