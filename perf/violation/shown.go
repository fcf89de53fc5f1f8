package violation

import (
	"strconv"
	"strings"
	"unicode"
)

// Bare reports whether a text stands in a line as it is: nothing in it breaks the
// line or hides what it says.
func Bare(text string) bool {
	return !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) })
}

// Shown returns a key or a path as a fault shows it: as it is, or in quotes where
// it is not [Bare].
func Shown(text string) string {
	if Bare(text) {
		return text
	}
	return strconv.Quote(text)
}
