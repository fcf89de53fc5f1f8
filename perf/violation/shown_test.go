package violation_test

import (
	"testing"

	"bowroll/perf/violation"
)

func TestShown(t *testing.T) {
	for text, want := range map[string]string{
		"":                   "",
		"air.temperature_c":  "air.temperature_c",
		"größe":              "größe",
		"two words":          "two words",
		"two\nlines":         `"two\nlines"`,
		"a\u200bhidden":      `"a\u200bhidden"`,
		"right\u202eto left": `"right\u202eto left"`,
	} {
		if got := violation.Shown(text); got != want {
			t.Errorf("%q is shown as %s, want %s", text, got, want)
		}
		if violation.Bare(text) != (want == text) {
			t.Errorf("%q is bare: %v", text, violation.Bare(text))
		}
	}
}
