package sheet

import (
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// columns returns how many columns of a terminal a text takes.
func columns(text string) int {
	n := 0
	for _, r := range text {
		n += runeColumns(r)
	}
	return n
}

func runeColumns(r rune) int {
	if unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf) || unicode.IsControl(r) {
		return 0
	}
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// clean takes control characters out of a text that came from elsewhere, so
// that a name can do nothing to a terminal.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return ' '
		}
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, text)
}

// hold is a blank at which no line breaks.
const hold = "\u00a0"

// wrap breaks a text into lines of at most limit columns, at blanks where it
// can, after a hyphen or inside a word where it must. A plus sign that falls on
// a break is left out: what it joins then stands one below the other. There is
// always one line.
func wrap(text string, limit int) []string {
	limit = max(limit, 1)
	var lines []string
	line, used := "", 0
	words := strings.FieldsFunc(text, func(r rune) bool { return r == ' ' })
	for i, word := range words {
		if word == "+" && line != "" && i+1 < len(words) && used+3+columns(words[i+1]) > limit {
			lines = append(lines, line)
			line, used = "", 0
			continue
		}
		n := columns(word)
		if line != "" && used+1+n <= limit {
			line, used = line+" "+word, used+1+n
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for columns(word) > limit {
			head, tail := split(word, limit)
			lines, word = append(lines, head), tail
		}
		line, used = word, columns(word)
	}
	return append(lines, line)
}

// split breaks a word that is too long: after the last hyphen that fits, or
// where the limit is.
func split(word string, limit int) (head, tail string) {
	used, cut, hyphen := 0, 0, 0
	for i, r := range word {
		used += runeColumns(r)
		if used > limit {
			break
		}
		cut = i + len(string(r))
		if r == '-' {
			hyphen = cut
		}
	}
	switch {
	case hyphen > 0:
		cut = hyphen
	case cut == 0:
		cut = len(string([]rune(word)[0]))
	}
	return word[:cut], word[cut:]
}

// pad fills a text with blanks up to a number of columns.
func pad(text string, to int, right bool) string {
	blanks := strings.Repeat(" ", max(0, to-columns(text)))
	if right {
		return blanks + text
	}
	return text + blanks
}
