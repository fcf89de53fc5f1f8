package paper

import (
	"strings"
	"unicode"
)

// printable keeps what the fonts can show: control characters go, blanks become
// blanks, and what lies beyond the basic plane, for which the fonts hold
// nothing, becomes a question mark rather than a gap that nobody notices.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.In(r, unicode.Cf):
			return -1
		case r > 0xffff, r >= 0x2e80: // beyond the alphabets of the fonts
			return '?'
		}
		return r
	}, text)
}
