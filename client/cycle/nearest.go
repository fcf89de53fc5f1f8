package cycle

import "unicode/utf8"

// Nearest returns the word of known that is fewest edits away from word, where
// that is near enough to be what was meant: at most a third of the word's
// letters, and one at least. Of words equally near the first is taken.
func Nearest(word string, known []string) (string, bool) {
	best, least := "", max(1, utf8.RuneCountInString(word)/3)+1
	for _, candidate := range known {
		if d := edits([]rune(word), []rune(candidate)); d < least {
			best, least = candidate, d
		}
	}
	return best, best != ""
}

// edits counts the letters to insert, delete, replace or swap with their
// neighbour to turn a into b (optimal string alignment).
func edits(a, b []rune) int {
	before, above, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range above {
		above[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			replace := above[j-1]
			if a[i-1] != b[j-1] {
				replace++
			}
			row[j] = min(replace, above[j]+1, row[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(b)]
}
