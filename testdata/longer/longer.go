// Package longer gives tests the counts of the longer runs before a release, which
// .ci/long sets and deploy/RELIABILITY.md lists.
package longer

import (
	"os"
	"strconv"
	"testing"
)

// Count is the environment variable name, a whole number of at least 1; usual
// where it is not set.
func Count(tb testing.TB, name string, usual int) int {
	tb.Helper()
	text := os.Getenv(name)
	if text == "" {
		return usual
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		tb.Fatalf("%s is %q: must be a count, at least 1", name, text)
	}
	return n
}
