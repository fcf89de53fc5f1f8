package paper

import (
	"strings"
	"unicode"
)

// held is a blank at which no line breaks.
const held = '\u00a0'

// bind holds numbers and their units together: "29,800 lb" is never parted.
func bind(text string) string {
	words := strings.Split(text, " ")
	var b strings.Builder
	for i, word := range words {
		if i > 0 {
			if before := words[i-1]; before != "" && unicode.IsDigit(rune(before[len(before)-1])) && isUnit(word) {
				b.WriteRune(held)
			} else {
				b.WriteByte(' ')
			}
		}
		b.WriteString(word)
	}
	return b.String()
}

// isUnit reports whether a word could be a unit: a few letters or a percent sign.
func isUnit(word string) bool {
	word = strings.TrimRight(word, ".,;:)")
	return word == "%" || word != "" && len(word) <= 4 && strings.IndexFunc(word, func(r rune) bool { return !unicode.IsLetter(r) }) < 0
}

// wordsOf parts a text where lines may break.
func wordsOf(text string) []string {
	return strings.FieldsFunc(bind(text), func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' })
}

// printable takes out what is no letter: control characters and those that
// change the direction of a text go, every blank becomes a plain one.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == held:
			return r
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.In(r, unicode.Cf):
			return -1
		}
		return r
	}, text)
}
