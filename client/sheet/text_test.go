package sheet

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"bowroll/client/sheet/figure"
)

func TestWrap(t *testing.T) {
	tests := []struct {
		text  string
		limit int
		want  []string
	}{
		{"", 10, []string{""}},
		{"gets off", 8, []string{"gets off"}},
		{"burn out in rotation", 8, []string{"burn out", "in", "rotation"}},
		{"amber-reconnaissance-12", 10, []string{"amber-", "reconnaiss", "ance-12"}},
		{"2" + hold + "lot-07 + 2" + hold + "lot-11", 8, []string{"2" + hold + "lot-07", "2" + hold + "lot-11"}},
		{"2" + hold + "lot-07 + 2" + hold + "lot-11", 30, []string{"2" + hold + "lot-07 + 2" + hold + "lot-11"}},
		{"暁の便", 4, []string{"暁の", "便"}},
	}
	for _, tt := range tests {
		if got := wrap(tt.text, tt.limit); !slices.Equal(got, tt.want) {
			t.Errorf("wrap(%q, %d) = %q, want %q", tt.text, tt.limit, got, tt.want)
		}
	}
}

// Wrapping loses no letter and keeps to its limit, whatever the text.
func TestWrapKeepsEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := clean(rapid.StringN(0, 60, -1).Draw(t, "text"))
		limit := rapid.IntRange(2, 40).Draw(t, "limit")
		lines := wrap(text, limit)
		letters := func(s string) string { return strings.Map(drop(" +"), s) }
		if got := letters(strings.Join(lines, "")); got != letters(text) {
			t.Fatalf("wrapped to %q, text is %q", got, text)
		}
		for _, line := range lines {
			if columns(line) > limit && utf8.RuneCountInString(line) > 1 {
				t.Fatalf("line %q is wider than %d", line, limit)
			}
		}
	})
}

func drop(set string) func(rune) rune {
	return func(r rune) rune {
		if strings.ContainsRune(set, r) {
			return -1
		}
		return r
	}
}

func TestTableGivesWayInOrder(t *testing.T) {
	long := table{columns: []column{{head: "Sortie", least: 10}, {head: "Type", rank: 1}, {head: "Mark", rank: 2}, {head: "Outcome", least: 8}}}
	long.row(plain("amber-1", "corvane", "20 m", "burn out in rotation")...)
	for _, tt := range []struct {
		room int
		kept []int
		gap  int
	}{
		{100, []int{0, 1, 2, 3}, 2},
		{42, []int{0, 1, 2, 3}, 1},
		{30, []int{0, 1, 2, 3}, 1}, // the outcome is wrapped first
		{28, []int{0, 1, 3}, 1},
		{20, []int{0, 3}, 1},
	} {
		kept, widths, gap := long.fit(tt.room)
		if !slices.Equal(kept, tt.kept) || gap != tt.gap || sum(widths)+gap*(len(kept)-1) > tt.room {
			t.Errorf("in %d columns: kept %v, widths %v, gap %d; want %v, gap %d", tt.room, kept, widths, gap, tt.kept, tt.gap)
		}
	}
}

func TestCleanStopsATerminalFromBeingDriven(t *testing.T) {
	if got := clean("a\x1b[2Jb\tc\u0085"); got != "a[2Jb c" {
		t.Errorf("clean gave %q", got)
	}
}

func TestNumbers(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{figure.NoMinusZero("-0.0 kt"), "0.0 kt"},
		{figure.NoMinusZero("-0.1 kt"), "-0.1 kt"},
		{bearing(359.7), "000 deg"},
		{bearing(-3), "357 deg"},
		{figures(0.1, 9), "0.1"},
		{figures(3e-7, 2), "3.0e-07"},
		{fixed(-0.04, 1), "0.0"},
	} {
		if tt.got != tt.want {
			t.Errorf("drawn as %q, want %q", tt.got, tt.want)
		}
	}
}

// A table that no narrowing fits is told row by row, with every value under its
// name and no line wider than the terminal.
func TestTablesThatDoNotFitAreTold(t *testing.T) {
	var wide table
	var row []cell
	for _, head := range []string{"Sortie", "Available", "Required", "Margin", "Outcome", "Firing", "Lot", "Crosswind"} {
		wide.columns = append(wide.columns, column{head: head, under: "of it", right: head != "Sortie"})
		row = append(row, cell{text: "value-" + head})
	}
	wide.row(row...)
	p := newPage(Style{Width: 60})
	p.table(wide)
	text := p.text.String()
	for _, line := range strings.Split(text, "\n") {
		if columns(line) > 60 {
			t.Errorf("a line of %d columns: %s", columns(line), line)
		}
	}
	for _, c := range wide.columns {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), c.head+" of it value-"+c.head) {
			t.Errorf("%s is not told:\n%s", c.head, text)
		}
	}
}
