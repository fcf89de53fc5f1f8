// Package nearest finds the word that a misspelt one was probably meant to be,
// so that a refusal can say so.
package nearest

import (
	"slices"
	"strings"
	"unicode"
)

// Of returns the candidate that word is most like, and whether any is like
// enough to suggest: at most a third of its letters, and always up to two,
// inserted, dropped, replaced or swapped with their neighbour. Case, underscores
// and hyphens do not count: grossMassKg is gross_mass_kg. Of equals the first in
// sorted order is taken, so that the answer does not depend on the order of the
// candidates. A word that a candidate begins with, up to an underscore, is that
// candidate without its unit.
func Of(word string, candidates []string) (string, bool) {
	if len(word) > maxLength {
		return "", false
	}
	letters := fold(word)
	for _, c := range slices.Sorted(slices.Values(candidates)) {
		if len(letters) > 2 && strings.HasPrefix(strings.ToLower(c), strings.ToLower(word)+"_") {
			return c, true
		}
	}
	best, least := "", max(2, len(letters)/3)+1
	for _, c := range slices.Sorted(slices.Values(candidates)) {
		if len(c) > maxLength {
			continue
		}
		if d := distance(letters, fold(c)); d < least {
			best, least = c, d
		}
	}
	// Two letters of a word of two are the whole word.
	if best == "" || least >= len(letters) {
		return "", false
	}
	return best, true
}

// fold is what counts of a word.
func fold(word string) []rune {
	return []rune(strings.Map(func(r rune) rune {
		if r == '_' || r == '-' {
			return -1
		}
		return unicode.ToLower(r)
	}, word))
}

// maxLength bounds the work that one hostile word can cause.
const maxLength = 128

// distance is the optimal string alignment distance: the least number of
// letters inserted, dropped, replaced or swapped with their neighbour, none
// touched twice.
func distance(a, b []rune) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
