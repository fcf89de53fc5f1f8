package paper

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestBindHoldsNumbersToUnits(t *testing.T) {
	for text, want := range map[string]string{
		"run 565 ft of 577 ft available": "run 565\u00a0ft of 577\u00a0ft available",
		"13 ft, 2.2 % of it":             "13\u00a0ft, 2.2\u00a0% of it",
		"in 2041 something":              "in 2041 something",
		"":                               "",
	} {
		if got := bind(text); got != want {
			t.Errorf("bind(%q) = %q, want %q", text, got, want)
		}
	}
}

// A page that may not run on is refused once it could no longer be read.
func TestCrowdedPageIsRefused(t *testing.T) {
	var list []Field
	for range 300 {
		list = append(list, Field{Label: "label", Value: "value"})
	}
	page := Page{Name: "crowded", Rows: []Row{{{Blocks: []Block{Fields{List: list}}}}}}
	err := PDF(&bytes.Buffer{}, Document{Pages: []Page{page}}, A4)
	if err == nil || !strings.Contains(err.Error(), "crowded") {
		t.Fatalf("error %v does not name the page", err)
	}
	page.Flows = true
	if err := PDF(&bytes.Buffer{}, Document{Pages: []Page{page}}, A4); err != nil {
		t.Fatal(err)
	}
}

// A name longer than its line breaks behind a hyphen, and the head grows with a
// long name in place of running into what stands opposite.
func TestLongNamesBreak(t *testing.T) {
	letters, err := newAlphabet()
	if err != nil {
		t.Fatal(err)
	}
	head := func(name, aside string) (*setter, float64) {
		s := &setter{f: sheets(A4), letters: letters, size: A4, page: Page{Name: name, Aside: aside}, scale: 1, dry: true}
		return s, s.head()
	}
	s, short := head("amber-1", "05:40 UTC")
	if got := strings.Join(s.split("amber-long-range-patrol-of-the-west", 20, 9, false), "|"); got != "amber-long-|range-patrol-|of-the-west" {
		t.Errorf("broken as %s", got)
	}
	for _, name := range []string{strings.Repeat("western approach ", 6), strings.Repeat("w", 90)} {
		if _, long := head(name, "spot s6  05:40 UTC"); long <= short {
			t.Errorf("%s takes no more room than a short name", name)
		}
	}
	if _, y := head("amber-1", strings.Repeat("spot ", 20)); y > 2*short {
		t.Errorf("what stands opposite leaves no room for the name: the head ends at %g mm", y)
	}
}

// Whatever a page is made of, it prints in every form: lines of a text keep its
// width, HTML has none of the text as markup, and the same page gives the same
// bytes.
func TestAnythingPrints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "<b>&amp;", "29,800 lb", "\x1b[31m", "日本", "🚀", strings.Repeat("x", 300)}))
		block := rapid.Custom(func(t *rapid.T) Block {
			switch rapid.IntRange(0, 4).Draw(t, "kind") {
			case 0:
				return Fields{Columns: rapid.IntRange(0, 3).Draw(t, "columns"), List: []Field{{Label: word.Draw(t, "label"), Value: word.Draw(t, "value")}, {Label: "by hand", Hand: true}}}
			case 1:
				return Figures{List: []Figure{{Label: word.Draw(t, "label"), Value: word.Draw(t, "value"), Unit: word.Draw(t, "unit")}}}
			case 2:
				return Table{Columns: []Column{{Head: word.Draw(t, "head"), Right: true}, {Head: "b", Hand: true, Rank: 1}},
					Rows: [][]string{{word.Draw(t, "cell")}, {word.Draw(t, "cell"), word.Draw(t, "cell")}}}
			case 3:
				return Lines{{Label: word.Draw(t, "label"), Text: word.Draw(t, "text")}}
			}
			return Plain{Text: word.Draw(t, "plain")}
		})
		doc := Document{Title: "T", Pages: []Page{{Name: word.Draw(t, "name"), Aside: "aside", Flows: true,
			Foot: []string{word.Draw(t, "foot")}, Rows: []Row{{{Title: word.Draw(t, "title"), Note: word.Draw(t, "note"), Blocks: rapid.SliceOfN(block, 1, 4).Draw(t, "blocks")}}}}}}
		var text, html, pdf, again bytes.Buffer
		for _, err := range []error{Text(&text, doc), HTML(&html, doc), PDF(&pdf, doc, A4), PDF(&again, doc, A4)} {
			if err != nil {
				t.Fatal(err)
			}
		}
		if strings.Contains(html.String(), "<b>&amp;<") {
			t.Error("a text became markup")
		}
		if !utf8.Valid(text.Bytes()) {
			t.Error("the text is not UTF-8")
		}
		if strings.ContainsRune(text.String(), '\x1b') {
			t.Error("a name reaches the terminal as a control sequence")
		}
		if !bytes.Equal(pdf.Bytes(), again.Bytes()) {
			t.Error("the same document gives other bytes")
		}
	})
}
