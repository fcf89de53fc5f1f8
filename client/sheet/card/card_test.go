package card_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode"

	"google.golang.org/protobuf/proto"

	"bowroll/client/sheet/card"
	"bowroll/client/sheet/paper"
	"bowroll/client/sheet/papertest"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

const folder = "../testdata"

// sources are those of one launch of the dawn cycle.
func sources(t testing.TB, sortie string) card.Sources {
	t.Helper()
	d := papertest.Load(t, folder)
	l := d.Launches[sortie]
	return card.Sources{Cycle: d.Cycle, Plan: d.Plan, Launch: l.Planned, Takeoff: l.Takeoff, Deck: d.Deck, Aircraft: l.Aircraft, Boosters: l.Boosters}
}

func build(t testing.TB, s card.Sources, issue card.Issue) card.Card {
	t.Helper()
	c, err := card.Build(s, issue)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// issued is a card with nothing left for the hand that a command can give.
func issued() card.Issue {
	at, revision := time.Date(2041, 3, 7, 4, 50, 0, 0, time.UTC), 2
	return card.Issue{Revision: &revision, By: "M. Brume", At: &at, ValidFor: 15 * time.Minute}
}

// document is a card with units, one without, and one refused.
func document(t testing.TB, units quantity.System) paper.Document {
	t.Helper()
	refused := sources(t, "cedar-1")
	refused.Takeoff.Outcome, refused.Takeoff.Box = bowrollv1.Outcome_OUTCOME_RUN_TOO_LONG, nil
	for _, b := range refused.Boosters {
		b.MisfireWaitS = nil
	}
	return paper.Document{Title: "Launch cards: dawn", Dated: refused.Cycle.GetStartTime().AsTime(), Pages: []paper.Page{
		build(t, sources(t, "cedar-1"), issued()).Page(units),
		build(t, sources(t, "amber-2"), card.Issue{}).Page(units),
		build(t, refused, issued()).Page(units),
	}}
}

func TestCardsAsTextAndHTML(t *testing.T) {
	for _, c := range []struct {
		name  string
		units quantity.System
		print func(*bytes.Buffer, paper.Document) error
	}{
		{"cards.txt", quantity.Trade, func(b *bytes.Buffer, d paper.Document) error { return paper.Text(b, d) }},
		{"cards-si.txt", quantity.SI, func(b *bytes.Buffer, d paper.Document) error { return paper.Text(b, d) }},
		{"cards.html", quantity.Trade, func(b *bytes.Buffer, d paper.Document) error { return paper.HTML(b, d) }},
	} {
		var out bytes.Buffer
		if err := c.print(&out, document(t, c.units)); err != nil {
			t.Fatal(err)
		}
		papertest.Golden(t, c.name, out.Bytes())
	}
}

// Each card takes one sheet, whatever the paper, and says on it what the text
// says.
func TestCardsAsPDF(t *testing.T) {
	for _, size := range []paper.Size{paper.A4, paper.Letter} {
		var out, again bytes.Buffer
		if err := paper.PDF(&out, document(t, quantity.Trade), size); err != nil {
			t.Fatal(err)
		}
		if err := paper.PDF(&again, document(t, quantity.Trade), size); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(out.Bytes(), again.Bytes()) {
			t.Errorf("%s: the same cards give other bytes", size.Name)
		}
		sheets := papertest.PDFText(t, out.Bytes())
		if len(sheets) != 3 {
			t.Fatalf("%s: 3 cards take %d sheets", size.Name, len(sheets))
		}
		for i, wants := range [][]string{
			{"cedar-1", "Read back", "29,800", "Holds only inside this box", "STOP", "GO", "Commit, none lit", "Igniter serial", "revision 2", "Brume", "approved flight manual"},
			{"amber-2", "No units are fitted", "issued at", "revision ____"},
			{"NO CARD: REFUSED", "waiting time after a misfire", "box inside which it holds is not known"},
		} {
			for _, want := range wants {
				if !strings.Contains(sheets[i], want) {
					t.Errorf("%s, sheet %d lacks %q:\n%s", size.Name, i+1, want, sheets[i])
				}
			}
		}
		// A refused card gives nobody a number to launch on.
		for _, not := range []string{"Rotate", "Fire", "Required run (", "GO"} {
			if strings.Contains(sheets[2], not) {
				t.Errorf("%s: the refused card says %q", size.Name, not)
			}
		}
		papertest.CheckPicture(t, out.Bytes())
	}
}

// spokenWords counts words as they are spoken over a bad line: every digit and
// letter of a code by itself, a decimal point as a word.
func spokenWords(text string) int {
	count := 0
	for _, word := range strings.Fields(text) {
		digits := 0
		for _, r := range word {
			if unicode.IsDigit(r) {
				digits++
			}
		}
		switch {
		case digits == 0 && len(word) == 4 && strings.ToUpper(word) == word: // part of the digest that happens to have no digit
			count += 4
		case digits == 0:
			count++
		default:
			for _, r := range word {
				if unicode.IsDigit(r) || unicode.IsUpper(r) || r == '.' {
					count++
				}
			}
			if strings.IndexFunc(word, unicode.IsLower) >= 0 { // the word before a number: cedar-1
				count++
			}
		}
	}
	return count
}

// A card is read out in under 40 seconds at two and a half words a second,
// digest and six numbers first.
func TestCardReadsAloudInFortySeconds(t *testing.T) {
	for _, sortie := range []string{"cedar-1", "amber-2"} {
		page := build(t, sources(t, sortie), issued()).Page(quantity.Trade)
		aloud := page.Rows[0][0].Blocks[0].(paper.Figures).Aloud
		if words := spokenWords(strings.Join(aloud, " ")); words >= 100 {
			t.Errorf("%s: %d spoken words take %.0f s: %q", sortie, words, float64(words)/2.5, aloud)
		}
		at := 0
		for _, want := range []string{"Digest ", "Mass ", "units", "Rotate ", "Required run ", "Headwind at least ", "Void after "} {
			if sortie == "cedar-1" && want == "units" {
				want = "Firing "
			}
			next := strings.Index(aloud[0][at:], want)
			if next < 0 {
				t.Fatalf("%s: %q is not said in its place: %q", sortie, want, aloud[0])
			}
			at += next
		}
	}
}

// Every field that safety needs refuses the card when it is not there.
func TestCardIsRefused(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*card.Sources)
		want   string
	}{
		{"outcome", func(s *card.Sources) { s.Takeoff.Outcome = bowrollv1.Outcome_OUTCOME_CANNOT_CLIMB }, "cannot climb"},
		{"an outcome that is not known", func(s *card.Sources) { s.Takeoff.Outcome = 99 }, "Outcome"},
		{"take-off", func(s *card.Sources) { s.Takeoff = &bowrollv1.Takeoff{} }, "not computed"},
		{"policy", func(s *card.Sources) { s.Takeoff.Policy = nil }, "No policy"},
		{"failures", func(s *card.Sources) { s.Takeoff.Failures = nil }, "What happens if a unit fails"},
		{"covered", func(s *card.Sources) { s.Takeoff.Covered = proto.Bool(false) }, "no way out"},
		{"climb", func(s *card.Sources) { s.Takeoff.Climb = nil }, "climb"},
		{"box", func(s *card.Sources) { s.Takeoff.Box = nil }, "box"},
		{"air", func(s *card.Sources) { s.Takeoff.Air = nil }, "air"},
		{"mass", func(s *card.Sources) {
			for _, sortie := range s.Cycle.GetSorties() {
				sortie.GrossMassKg = nil
			}
		}, "mass"},
		{"firing", func(s *card.Sources) { s.Takeoff.Firing = nil }, "moment of firing"},
		{"exhaust", func(s *card.Sources) { s.Takeoff.KeepClear = nil }, "exhaust"},
		{"booster type", func(s *card.Sources) { s.Boosters = nil }, "booster type"},
		{"firing temperatures", func(s *card.Sources) {
			for _, b := range s.Boosters {
				b.FiringLeastC, b.FiringGreatestC = nil, nil
			}
		}, "lowest firing temperature"},
		{"hang-fire", func(s *card.Sources) {
			for _, b := range s.Boosters {
				b.HangFireS = nil
			}
		}, "hang-fire"},
		{"window", func(s *card.Sources) {
			for _, task := range s.Plan.GetTimeline().GetTasks() {
				task.Held = true
			}
		}, "window"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := sources(t, "cedar-1")
			if whole := build(t, s, issued()); len(whole.Refusals) > 0 {
				t.Fatalf("refused before anything is missing: %q", whole.Refusals)
			}
			c.change(&s)
			got := build(t, s, issued())
			if all := strings.Join(got.Refusals, " "); !strings.Contains(all, c.want) {
				t.Errorf("refusals %q do not say %q", got.Refusals, c.want)
			}
			if page := got.Page(quantity.Trade); page.Stamp == "" {
				t.Error("the page has no stamp")
			}
		})
	}
	late := issued()
	at := time.Date(2041, 3, 7, 7, 0, 0, 0, time.UTC)
	late.At = &at
	if got := build(t, sources(t, "cedar-1"), late); !strings.Contains(strings.Join(got.Refusals, " "), "after it is void") {
		t.Errorf("issued after it is void: %q", got.Refusals)
	}
}

// The digest that is read back covers every field, so that two cards that differ
// anywhere differ there; alike, they do not.
func TestDigestCoversTheCard(t *testing.T) {
	base := build(t, sources(t, "cedar-1"), issued())
	if again := build(t, sources(t, "cedar-1"), issued()); again.Digest != base.Digest {
		t.Errorf("the same card has digests %q and %q", base.Digest, again.Digest)
	}
	seen := map[string]string{base.Digest: "the card itself"}
	for name, change := range map[string]func(*card.Sources, *card.Issue){
		"mass": func(s *card.Sources, _ *card.Issue) {
			for _, sortie := range s.Cycle.GetSorties() {
				*sortie.GrossMassKg += 0.001
			}
		},
		"validity": func(_ *card.Sources, i *card.Issue) { i.ValidFor += time.Second },
		"revision": func(_ *card.Sources, i *card.Issue) { r := 3; i.Revision = &r },
		"leg":      func(s *card.Sources, _ *card.Issue) { s.Takeoff.Failures = s.Takeoff.Failures[4:] },
		"box":      func(s *card.Sources, _ *card.Issue) { *s.Takeoff.Box.LeastHeadwindMps += 1e-9 },
		"wait": func(s *card.Sources, _ *card.Issue) {
			for _, b := range s.Boosters {
				*b.MisfireWaitS++
			}
		},
	} {
		s, issue := sources(t, "cedar-1"), issued()
		change(&s, &issue)
		digest := build(t, s, issue).Digest
		if other := seen[digest]; other != "" {
			t.Errorf("%s: digest %s is that of %s", name, digest, other)
		}
		seen[digest] = name
	}
}

// Zero is a value and is written; what is absent is a dash or a line to write on.
func TestBlankNeverMeansZero(t *testing.T) {
	s := sources(t, "cedar-1")
	s.Takeoff.Climb.BurnEndMinusLiftoffS = proto.Float64(0)
	s.Takeoff.MarginM = nil
	var out bytes.Buffer
	if err := paper.Text(&out, paper.Document{Pages: []paper.Page{build(t, s, issued()).Page(quantity.Trade)}}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Burn ends                     0.0 s after lift-off", "Margin                        not given"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the text lacks %q", want)
		}
	}
	var fields map[string]map[string]any
	source, err := json.Marshal(build(t, s, issued()))
	if err != nil {
		t.Fatal(err)
	}
	_ = json.Unmarshal(source, &fields) // fields that are no objects stay out
	if margin, there := fields["numbers"]["margin_m"]; !there || margin != nil {
		t.Errorf("JSON has margin_m %v (there: %v), want null", margin, there)
	}
	if end := fields["numbers"]["burn_end_minus_liftoff_s"]; end != 0.0 {
		t.Errorf("JSON has burn_end_minus_liftoff_s %v, want 0", end)
	}
}

// The fullest card that the contract permits, with hostile names, still takes
// one sheet and does nothing to a page.
func TestFullCardFitsOneSheet(t *testing.T) {
	s := sources(t, "cedar-1")
	s.Launch = proto.Clone(s.Launch).(*bowrollv1.PlannedLaunch)
	s.Launch.Draws = s.Launch.Draws[:1]
	s.Launch.Draws[0].Stations = nil
	for i := range 32 {
		s.Launch.Draws[0].Stations = append(s.Launch.Draws[0].Stations, fmt.Sprintf("station-%d", i+1))
	}
	for _, sortie := range s.Cycle.GetSorties() {
		sortie.DisplayName = strings.Repeat("<script>alert('\u202e\x07🚀')</script> ", 4)
	}
	page := build(t, s, issued()).Page(quantity.Trade)
	for _, size := range []paper.Size{paper.A4, paper.Letter} {
		var out bytes.Buffer
		if err := paper.PDF(&out, paper.Document{Pages: []paper.Page{page}}, size); err != nil {
			t.Fatal(err)
		}
		if sheets := papertest.PDFText(t, out.Bytes()); len(sheets) != 1 || !strings.Contains(sheets[0], "station-32") {
			t.Errorf("%s: %d sheets, or a station is missing", size.Name, len(sheets))
		}
		papertest.CheckPicture(t, out.Bytes())
	}
	var html bytes.Buffer
	if err := paper.HTML(&html, paper.Document{Pages: []paper.Page{page}}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(html.String(), "<script") {
		t.Error("a name became markup")
	}
}
