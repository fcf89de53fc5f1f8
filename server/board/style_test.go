package board_test

import (
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var (
	ruleForm    = regexp.MustCompile(`([^{}]+)\{([^{}]*)\}`)
	literalForm = regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(`)
	varForm     = regexp.MustCompile(`^var\((--[a-z-]+)\)$`)
	comment     = regexp.MustCompile(`(?s)/\*.*?\*/`)
)

// declared are the properties of a block.
func declared(block string) map[string]string {
	all := map[string]string{}
	for one := range strings.SplitSeq(block, ";") {
		if name, value, ok := strings.Cut(one, ":"); ok {
			all[strings.TrimSpace(name)] = strings.TrimSpace(value)
		}
	}
	return all
}

// luminance is the relative luminance of a colour, and contrast the ratio of two
// (Web Content Accessibility Guidelines 2.2, "relative luminance" and "contrast
// ratio").
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(colour, "#"), 16, 32)
	if err != nil || len(colour) != 7 {
		t.Fatalf("colour %q", colour)
	}
	part := func(shift uint) float64 {
		c := float64(n>>shift&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*part(16) + 0.7152*part(8) + 0.0722*part(0)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// Every pair of colours that the style sheet puts together can be told apart by
// day and by night: 4.5 to 1 for text, 3 to 1 for edges and focus.
func TestContrast(t *testing.T) {
	text, err := os.ReadFile("assets/board.css")
	if err != nil {
		t.Fatal(err)
	}
	style := comment.ReplaceAllString(string(text), "")
	var palettes []map[string]string
	type pair struct{ what, ink, sheet string }
	var texts, edges []pair
	for _, rule := range ruleForm.FindAllStringSubmatch(style, -1) {
		name, all := strings.TrimSpace(rule[1]), declared(rule[2])
		if all["--ink"] != "" {
			palettes = append(palettes, all)
			continue
		}
		if found := literalForm.FindString(rule[2]); found != "" {
			t.Errorf("%s names a colour of its own, %s", name, found)
		}
		colour := func(property string) string {
			if m := varForm.FindStringSubmatch(all[property]); m != nil {
				return m[1]
			}
			return ""
		}
		ink, sheet := colour("color"), colour("background")
		switch {
		case ink != "" && sheet != "":
			texts = append(texts, pair{name, ink, sheet})
		case sheet != "":
			t.Errorf("%s has a background and does not say its ink", name)
		case ink == "--alarm":
			texts = append(texts, pair{name, ink, "--alarm-sheet"})
		case ink != "":
			texts = append(texts, pair{name, ink, "--sheet"})
		}
		for property, value := range all {
			if (strings.HasPrefix(property, "border") || property == "outline") && strings.Contains(value, "var(--") && !strings.Contains(value, "--pale") {
				edges = append(edges, pair{name, value[strings.Index(value, "--") : strings.IndexByte(value[strings.Index(value, "--"):], ')')+strings.Index(value, "--")], "--sheet"})
			}
		}
	}
	// What stands on an alarm besides.
	for _, ink := range []string{"--ink", "--quiet", "--link"} {
		texts = append(texts, pair{"on an alarm", ink, "--alarm-sheet"})
	}
	edges = append(edges, pair{"focus on an alarm", "--focus", "--alarm-sheet"}, pair{"edge on an alarm", "--alarm", "--alarm-sheet"})
	if len(palettes) != 3 || len(texts) < 12 || len(edges) < 8 {
		t.Fatalf("%d palettes, %d pairs of text, %d edges: the sheet was not read", len(palettes), len(texts), len(edges))
	}
	for name, value := range palettes[1] {
		if palettes[2][name] != value {
			t.Errorf("night by the screen and night by the switch differ in %s", name)
		}
	}
	for i, palette := range palettes[:2] {
		when := []string{"day", "night"}[i]
		for _, p := range texts {
			if c := contrast(t, palette[p.ink], palette[p.sheet]); c < 4.5 {
				t.Errorf("by %s, %s: %s on %s is %.2f to 1", when, p.what, p.ink, p.sheet, c)
			}
		}
		for _, p := range edges {
			if c := contrast(t, palette[p.ink], palette[p.sheet]); c < 3 {
				t.Errorf("by %s, the edge of %s: %s on %s is %.2f to 1", when, p.what, p.ink, p.sheet, c)
			}
		}
	}
	if c := contrast(t, "#000000", "#ffffff"); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white is %g to 1", c)
	}
}

// Nothing that a page loads leads outside.
func TestAssetsNeedNothingElse(t *testing.T) {
	for _, file := range []string{"assets/board.css", "assets/board.js", "assets/mark.svg"} {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		said := strings.ReplaceAll(string(text), "http://www.w3.org/2000/svg", "")
		for _, word := range []string{"http:", "https:", "//cdn", "@import", "url(", "eval(", "innerHTML"} {
			if strings.Contains(said, word) {
				t.Errorf("%s has %s", file, word)
			}
		}
	}
}
