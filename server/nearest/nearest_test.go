package nearest

import (
	"testing"

	"pgregory.net/rapid"
)

func TestOf(t *testing.T) {
	keys := []string{"headwind_mps", "crosswind_mps", "gross_mass_kg", "id", "span_m"}
	for _, c := range []struct{ word, want string }{
		{"headwnd_mps", "headwind_mps"},
		{"headwind_kt", "headwind_mps"},
		{"haedwind_mps", "headwind_mps"},
		{"grossMassKg", "gross_mass_kg"},
		{"spam_m", "span_m"},
		{"headwind", "headwind_mps"},
		{"Gross_Mass", "gross_mass_kg"},
		{"head", ""},
		{"zz", ""},
		{"temperature_c", ""},
		{"", ""},
	} {
		got, ok := Of(c.word, keys)
		if got != c.want || ok != (c.want != "") {
			t.Errorf("Of(%q) = %q, %v, want %q", c.word, got, ok, c.want)
		}
	}
}

func TestDistanceIsAMetricOnSmallWords(t *testing.T) {
	word := rapid.SliceOfN(rapid.RuneFrom([]rune("abc")), 0, 7)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		d := distance(a, b)
		if d != distance(b, a) {
			t.Fatalf("distance is not symmetric")
		}
		if (d == 0) != (string(a) == string(b)) {
			t.Fatalf("distance %d between %q and %q", d, string(a), string(b))
		}
		if d > max(len(a), len(b)) || d < max(len(a)-len(b), len(b)-len(a)) {
			t.Fatalf("distance %d out of bounds", d)
		}
	})
}
