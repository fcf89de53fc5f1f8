package board_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// armed takes the units of a sortie from their reservation to their launch.
func (w *world) armed(t *testing.T, units ...string) {
	t.Helper()
	stock := bowrollv1.NewStockClient(w.conn)
	for _, event := range []bowrollv1.UnitEvent{bowrollv1.UnitEvent_UNIT_EVENT_ISSUE, bowrollv1.UnitEvent_UNIT_EVENT_FIT, bowrollv1.UnitEvent_UNIT_EVENT_ARM} {
		var steps []*bowrollv1.UnitStep
		for _, unit := range units {
			steps = append(steps, &bowrollv1.UnitStep{Unit: unit, Event: event, Reason: "dawn"})
		}
		if _, err := stock.MoveUnits(t.Context(), &bowrollv1.MoveUnitsRequest{Parent: "sites/varrow", Steps: steps, Actor: "quill", RequestId: "armed-" + event.String()[11:]}); err != nil {
			t.Fatal(err)
		}
	}
}

func TestALaunchIsRecordedUnitByUnit(t *testing.T) {
	w := begin(t, false)
	w.keepDawn(t.Context())
	w.armed(t, "u11-03", "u11-04", "u11-05")
	v := w.visitor()
	code, text, header := v.get("/plans/varrow/dawn-1/launch/cedar-1")
	if code != http.StatusOK {
		t.Fatal(code, inMain(text))
	}
	checkPage(t, "the launch", text, header)
	for _, unit := range []string{"u11-03", "u11-04", "u11-05"} {
		if !strings.Contains(text, `name="outcome-`+unit+`"`) {
			t.Errorf("%s is not asked for", unit)
		}
	}
	form := func() url.Values {
		return url.Values{"sortie": {"cedar-1"}, "launched": {"2041-03-07T05:53Z"}, "actor": {"quill"}, "request_id": {"launch-cedar-1"},
			"outcome-u11-03": {"expended"}, "outcome-u11-04": {"misfired"}, "place-u11-04": {"jettison rack"}, "note-u11-04": {"no flame seen"}}
	}
	code, text, _ = v.post("/plans/varrow/dawn-1/record", form())
	if said := inMain(text); code != http.StatusUnprocessableEntity || !strings.Contains(said, "for u11-05. Nothing was recorded") || !strings.Contains(text, "/plans/varrow/dawn-1/launch/cedar-1") {
		t.Errorf("a unit of which nothing is said: %d %s", code, said)
	}
	whole := form()
	whole.Set("outcome-u11-05", "hung up")
	code, text, _ = v.post("/plans/varrow/dawn-1/record", whole)
	if code != http.StatusOK || !strings.Contains(text, "launched") {
		t.Fatal(code, inMain(text))
	}
	for unit, want := range map[string]struct {
		state bowrollv1.UnitState
		place string
	}{
		"u11-03": {bowrollv1.UnitState_UNIT_STATE_EXPENDED, "mag-1"}, "u11-04": {bowrollv1.UnitState_UNIT_STATE_MISFIRED, "jettison rack"}, "u11-05": {bowrollv1.UnitState_UNIT_STATE_HUNG_UP, "mag-1"},
	} {
		got, err := bowrollv1.NewStockClient(w.conn).GetUnit(t.Context(), &bowrollv1.GetUnitRequest{Name: "sites/varrow/units/" + unit})
		if err != nil || got.GetState() != want.state || got.GetPlace() != want.place {
			t.Errorf("%s: %v %v, want %v", unit, got, err, want)
		}
	}
	if _, text, _ = v.get("/stock/varrow/lot-11"); !strings.Contains(text, "no flame seen") || !strings.Contains(text, "hung up") {
		t.Error("the log of the lot does not say what happened")
	}
	// A card is good for one launch.
	if _, text, _ = v.get("/plans/varrow/dawn-1/cards?sortie=cedar-1&as=txt"); !strings.Contains(text, "VOID") || !strings.Contains(text, "has launched") {
		t.Errorf("the card still holds: %s", text)
	}
	if code, _, _ = v.get("/plans/varrow/dawn-1/launch/none"); code != http.StatusNotFound {
		t.Errorf("a launch that is not there: %d", code)
	}
}

var cardDigest = regexp.MustCompile(`(?i)read-back ([0-9A-Za-z-]+)`)

func TestKeptCardsAreThoseThatWereIssued(t *testing.T) {
	if testing.Short() {
		t.Skip("cards of a whole cycle take their time")
	}
	w := begin(t, false)
	w.keepDawn(t.Context())
	v := w.visitor()
	_, page, _ := v.get("/plans/varrow/dawn-1")
	for _, to := range []string{"/plans/varrow/dawn-1/cards", "/plans/varrow/dawn-1/cards?as=pdf", "/plans/varrow/dawn-1/cards?as=txt", "/plans/varrow/dawn-1/cards?sortie=birch-2"} {
		if !strings.Contains(page, `href="`+to+`"`) {
			t.Errorf("the plan does not lead to %s", to)
		}
	}
	if _, text, _ := v.get("/plans/varrow/dawn-1/cards?sortie=amber-1"); !strings.Contains(text, "VOID") || !strings.Contains(text, "two duds in a row ashore") {
		t.Error("a void card is not stamped")
	}
	if code, text, header := v.get("/plans/varrow/dawn-1/cards?as=pdf"); code != http.StatusOK || header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(text, "%PDF") {
		t.Errorf("as PDF: %d %s", code, header.Get("Content-Type"))
	}
	digest := func() string {
		code, text, _ := v.get("/plans/varrow/dawn-1/cards?as=txt&sortie=birch-2")
		found := cardDigest.FindStringSubmatch(text)
		if code != http.StatusOK || found == nil || strings.Contains(text, "VOID:") {
			t.Fatalf("%d %s", code, text)
		}
		return found[1]
	}
	trade := digest()
	v.post("/look", url.Values{"units": {"si"}, "next": {"/"}})
	if si := digest(); si != trade {
		t.Errorf("the card reads back %s in SI and %s in knots: it is not one card", si, trade)
	}
	// Inside its box the card holds, every side given; what is blank is not known.
	inside := url.Values{"sortie": {"birch-2"}, "headwind": {"30 kt"}, "crosswind": {"0 kt"}, "temperature": {"31 degC"}, "grain": {"21 degC"}, "mass": {"10,900 lb"}, "spot": {"0 ft"}}
	if code, text, _ := v.post("/plans/varrow/dawn-1/recheck", inside); code != http.StatusOK || !strings.Contains(text, "1 card holds, 0 do not") {
		t.Errorf("held against what is inside: %d %s", code, inMain(text))
	}
	inside.Del("spot")
	if code, text, _ := v.post("/plans/varrow/dawn-1/recheck", inside); code != http.StatusOK || !strings.Contains(text, "0 cards hold, 1 does not") || !strings.Contains(text, "NOT KNOWN") {
		t.Errorf("held against what is not known: %d %s", code, inMain(text))
	}
	for path, code := range map[string]int{"/plans/varrow/dawn-1/cards?sortie=amber-2": 404, "/plans/varrow/dawn-2/cards": 404, "/plans/varrow/none/cards": 404} {
		if got, text, _ := v.get(path); got != code {
			t.Errorf("%s: %d %s", path, got, inMain(text))
		}
	}
	code, text, _ := v.post("/plans/varrow/dawn-1/recompute", nil)
	if code != http.StatusOK || !strings.Contains(text, "THE SAME") || strings.Contains(text, "NOT THE SAME") {
		t.Errorf("computed anew: %d %s", code, inMain(text))
	}
}

// A caution is waived by name on the page of a plan, shown there and on the card, and
// its waiver ended there.
func TestACautionIsWaivedByName(t *testing.T) {
	w := begin(t, false)
	w.keepDawn(t.Context())
	v := w.visitor()
	form := url.Values{"sortie": {"cedar-1"}, "caution": {"burn-out-in-rotation"}, "authority": {" "}, "waived_until": {"2041-03-07T07:30Z"}, "reason": {"flown so before"}, "actor": {"quill"}, "request_id": {"waive-cedar-1"}}
	if code, text, _ := v.post("/plans/varrow/dawn-1/waive", form); code != http.StatusUnprocessableEntity || !strings.Contains(inMain(text), "authority") {
		t.Errorf("a waiver without a name: %d %s", code, inMain(text))
	}
	form.Set("authority", "R. Holm <flying>")
	code, text, header := v.post("/plans/varrow/dawn-1/waive", form)
	if code != http.StatusOK || !strings.Contains(text, "R. Holm &lt;flying&gt;") || !strings.Contains(text, "<option>cedar-1 burn-out-in-rotation</option>") {
		t.Fatalf("%d %s", code, inMain(text))
	}
	checkPage(t, "the plan with a waiver", text, header)
	// The card that is out was issued before it; issued anew it says it.
	issue := url.Values{"sortie": {"cedar-1"}, "until": {"2041-03-07T08:00Z"}, "actor": {"quill"}, "request_id": {"card-cedar-1"}}
	if code, text, _ = v.post("/plans/varrow/dawn-1/card", issue); code == http.StatusOK || !strings.Contains(inMain(text), "ends 2041-03-07T07:30:00Z") {
		t.Errorf("a card that outlives its waiver: %d %s", code, inMain(text))
	}
	issue.Set("until", "2041-03-07T07:30Z")
	if code, text, _ = v.post("/plans/varrow/dawn-1/card", issue); code != http.StatusOK {
		t.Fatalf("%d %s", code, inMain(text))
	}
	if _, text, _ = v.get("/plans/varrow/dawn-1/cards?sortie=cedar-1"); !strings.Contains(strings.ReplaceAll(inMain(text), "\u00a0", " "), "by R. Holm <flying> until 07:30 UTC: flown so before") {
		t.Errorf("the card does not say the waiver: %s", inMain(text))
	}
	code, text, _ = v.post("/plans/varrow/dawn-1/revoke", url.Values{"waiver": {"cedar-1 burn-out-in-rotation"}, "reason": {"rain"}, "actor": {"quill"}, "request_id": {"revoke-cedar-1"}})
	if code != http.StatusOK || !strings.Contains(text, "was revoked: rain") || strings.Contains(text, "<option>cedar-1 burn-out-in-rotation</option>") {
		t.Errorf("revoked: %d %s", code, inMain(text))
	}
}
