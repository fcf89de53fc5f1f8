package card_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/sheet/card"
	"bowroll/client/sheet/paper"
	"bowroll/client/sheet/papertest"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// waiver is one that the card as issued says.
func waiver(caution string) *bowrollv1.Waiver {
	return &bowrollv1.Waiver{
		Caution: caution, Text: "As it was accepted.", Authority: "R. Holm, flying officer", Reason: "the crew has flown it so",
		UntilTime: timestamppb.New(time.Date(2041, 3, 7, 6, 45, 0, 0, time.UTC)), State: bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE, CardRevision: 2,
	}
}

// forms is a card as text, as a page for screens and as the text of its one sheet.
func forms(t *testing.T, c card.Card) map[string]string {
	t.Helper()
	doc := paper.Document{Pages: []paper.Page{c.Page(quantity.Trade)}}
	var text, html, pdf bytes.Buffer
	if err := paper.Text(&text, doc); err != nil {
		t.Fatal(err)
	}
	if err := paper.HTML(&html, doc); err != nil {
		t.Fatal(err)
	}
	if err := paper.PDF(&pdf, doc, paper.A4); err != nil {
		t.Fatal(err)
	}
	sheets := papertest.PDFText(t, pdf.Bytes())
	if len(sheets) != 1 {
		t.Fatalf("the card takes %d sheets", len(sheets))
	}
	papertest.CheckPicture(t, pdf.Bytes())
	return map[string]string{"text": text.String(), "HTML": html.String(), "PDF": sheets[0]}
}

// A card says who accepted a caution beside it, and the caution as before.
func TestWaiverStandsBesideItsCaution(t *testing.T) {
	const says = "by R. Holm, flying officer until 06:45 UTC: the crew has flown it so"
	bare := keptCard(t, func(*card.Kept) {})
	waived := keptCard(t, func(k *card.Kept) { k.Sortie.Waivers = []*bowrollv1.Waiver{waiver("burn-out-in-rotation")} })
	if len(waived.Cautions) != len(bare.Cautions) || waived.Digest == bare.Digest {
		t.Errorf("%d cautions and %d with a waiver; digests %s and %s", len(bare.Cautions), len(waived.Cautions), bare.Digest, waived.Digest)
	}
	before := forms(t, bare)
	for form, text := range forms(t, waived) {
		flat, was := strings.Join(strings.Fields(text), " "), strings.Join(strings.Fields(before[form]), " ")
		for _, want := range []string{says, "1, beside its caution"} {
			if !strings.Contains(flat, want) || strings.Contains(was, want) {
				t.Errorf("%s: %q is not said, or is said without a waiver", form, want)
			}
		}
		for _, want := range []string{"CAUTION", "expect the thrust to fall away", "waived"} {
			if !strings.Contains(flat, want) {
				t.Errorf("%s: %q is gone", form, want)
			}
		}
	}
	text, err := json.Marshal(waived.Cautions)
	if err != nil || !strings.Contains(string(text), `"waiver":{"authority":"R. Holm, flying officer","reason":"the crew has flown it so","until_time":"2041-03-07T06:45:00Z"}`) {
		t.Errorf("%s %v", text, err)
	}
	// What is read out is what was read out before, but for the digest.
	aloud := func(c card.Card) []string { return c.Page(quantity.Trade).Rows[0][0].Blocks[0].(paper.Figures).Aloud }
	got := aloud(waived)
	got[0] = strings.Replace(got[0], waived.Digest, bare.Digest, 1)
	if !slices.Equal(got, aloud(bare)) {
		t.Errorf("%q", got)
	}
}

// The card that was issued is printed again as it was issued: without waivers that
// came after it, and with one that was revoked since, for then it is void.
func TestWaiversOfOtherCardsAreNotOnIt(t *testing.T) {
	bare := keptCard(t, func(*card.Kept) {})
	other := keptCard(t, func(k *card.Kept) {
		late, old := waiver("burn-out-in-rotation"), waiver("burn-out-in-rotation")
		late.CardRevision, old.CardRevision = 0, 1
		k.Sortie.Waivers = []*bowrollv1.Waiver{old, late}
	})
	if other.Digest != bare.Digest {
		t.Error("a waiver that the card was not issued with is on it")
	}
	whole := keptCard(t, func(k *card.Kept) { k.Sortie.Waivers = []*bowrollv1.Waiver{waiver("burn-out-in-rotation")} })
	revoked := keptCard(t, func(k *card.Kept) {
		w := waiver("burn-out-in-rotation")
		w.State = bowrollv1.WaiverState_WAIVER_STATE_REVOKED
		k.Sortie.Waivers = []*bowrollv1.Waiver{w}
		k.Sortie.State, k.Sortie.VoidReasons = bowrollv1.SortieState_SORTIE_STATE_VOID, []string{"the waiver of burn-out-in-rotation by R. Holm was revoked: rain"}
	})
	if revoked.Digest != whole.Digest || len(revoked.Voids) != 1 {
		t.Errorf("digest %s and %s, void because of %q", whole.Digest, revoked.Digest, revoked.Voids)
	}
	unknown := keptCard(t, func(k *card.Kept) { k.Sortie.Waivers = []*bowrollv1.Waiver{waiver("squall")} })
	if last := unknown.Cautions[len(unknown.Cautions)-1]; last.Waiver == nil || last.Text != "As it was accepted." {
		t.Errorf("a waiver of a caution that the card does not have is left out: %+v", unknown.Cautions)
	}
	tomorrow := keptCard(t, func(k *card.Kept) {
		w := waiver("burn-out-in-rotation")
		w.UntilTime = timestamppb.New(time.Date(2041, 3, 8, 6, 45, 0, 0, time.UTC))
		k.Sortie.Waivers = []*bowrollv1.Waiver{w}
	})
	if text := forms(t, tomorrow)["text"]; !strings.Contains(strings.Join(strings.Fields(text), " "), "until 8 Mar 2041 06:45 UTC: the crew") {
		t.Error("the day is not said where it is not the slot's")
	}
}

// A card with five cautions more than it has, each waived at the greatest length that
// the contract permits, still takes one sheet.
func TestWaivedCardFitsOneSheet(t *testing.T) {
	s, issue := sources(t, "cedar-1"), issued()
	issue.Kept = kept(s)
	for i := range 5 {
		id := fmt.Sprintf("caution-%d", i)
		s.Takeoff.Cautions = append(s.Takeoff.Cautions, &bowrollv1.Caution{Id: id, Severity: bowrollv1.Severity_SEVERITY_CAUTION,
			Text: "The aircraft type states no greatest yawing-moment coefficient: whether rudder and fin hold the uneven thrust is not judged."})
		w := waiver(id)
		w.Authority, w.Reason = strings.Repeat("Nameson ", 25)[:100], strings.Repeat("because it is so ", 30)[:200]
		issue.Kept.Sortie.Waivers = append(issue.Kept.Sortie.Waivers, w)
	}
	if text := forms(t, build(t, s, issue))["PDF"]; strings.Count(text, "Nameson Nameson") < 5 || !strings.Contains(text, "5, beside their cautions") {
		t.Error("a waiver is missing from the sheet")
	}
}
