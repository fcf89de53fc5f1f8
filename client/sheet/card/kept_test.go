package card_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/sheet/card"
	"bowroll/client/sheet/paper"
	"bowroll/client/sheet/papertest"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// kept is the card of cedar-1 as a store keeps it, with a serial for each unit.
func kept(s card.Sources) *card.Kept {
	sortie := &bowrollv1.PlanSortie{
		Id: "cedar-1", State: bowrollv1.SortieState_SORTIE_STATE_CARD_ISSUED, CardRevision: 2,
		CardUntilTime: timestamppb.New(time.Date(2041, 3, 7, 6, 40, 0, 0, time.UTC)),
		Box:           &bowrollv1.CardBox{LeastHeadwindMps: proto.Float64(14.95), GreatestCrosswindMps: proto.Float64(60)},
	}
	for _, d := range s.Launch.GetDraws() {
		draw := &bowrollv1.PlanDraw{Lot: d.GetLot(), UnitCount: d.GetUnitCount(), Stations: d.GetStations()}
		for _, station := range d.GetStations() {
			draw.Units = append(draw.Units, "en-"+station)
		}
		sortie.Draws = append(sortie.Draws, draw)
	}
	return &card.Kept{Plan: &bowrollv1.Plan{Name: "sites/varrow/plans/dawn-1", State: bowrollv1.PlanState_PLAN_STATE_CONFIRMED}, Sortie: sortie}
}

func keptCard(t testing.TB, change func(*card.Kept)) card.Card {
	t.Helper()
	s, issue := sources(t, "cedar-1"), issued()
	issue.Kept = kept(s)
	change(issue.Kept)
	return build(t, s, issue)
}

func TestKeptCardSaysWhatWasIssued(t *testing.T) {
	c := keptCard(t, func(*card.Kept) {})
	if len(c.Refusals)+len(c.Voids) > 0 {
		t.Fatalf("refusals %q, voids %q", c.Refusals, c.Voids)
	}
	if c.ID != "dawn-1-06" || c.VoidAfter.Format("15:04") != "06:40" {
		t.Errorf("card %s until %s", c.ID, c.VoidAfter)
	}
	for _, u := range c.Load.Units {
		if u.Serial != "en-"+u.Station {
			t.Errorf("station %s has serial %q", u.Station, u.Serial)
		}
	}
	// A box kept narrower is taken, one kept wider is not.
	if *c.Box.LeastHeadwindMPS != 14.95 || *c.Box.GreatestCrosswindMPS >= 60 {
		t.Errorf("box %v, %v", *c.Box.LeastHeadwindMPS, *c.Box.GreatestCrosswindMPS)
	}
}

// Every side that a card was issued with counts, and only where it is narrower.
func TestKeptBoxNarrowsEverySide(t *testing.T) {
	found := keptCard(t, func(k *card.Kept) { k.Sortie.Box = nil }).Box
	up, down := func(v *float64) *float64 { return proto.Float64(*v + 0.01) }, func(v *float64) *float64 { return proto.Float64(*v - 0.01) }
	for _, narrower := range []bool{true, false} {
		least, most := up, down
		if !narrower {
			least, most = down, up
		}
		box := &bowrollv1.CardBox{
			LeastHeadwindMps: least(found.LeastHeadwindMPS), GreatestHeadwindMps: most(found.GreatestHeadwindMPS),
			GreatestCrosswindMps: most(found.GreatestCrosswindMPS), LeastMassKg: least(found.LeastMassKG),
			GreatestMassKg: most(found.GreatestMassKG), SpotToleranceM: most(found.SpotM),
		}
		got := keptCard(t, func(k *card.Kept) { k.Sortie.Box = box }).Box
		for side, values := range map[string][3]*float64{
			"least headwind":     {got.LeastHeadwindMPS, box.LeastHeadwindMps, found.LeastHeadwindMPS},
			"greatest headwind":  {got.GreatestHeadwindMPS, box.GreatestHeadwindMps, found.GreatestHeadwindMPS},
			"greatest crosswind": {got.GreatestCrosswindMPS, box.GreatestCrosswindMps, found.GreatestCrosswindMPS},
			"least mass":         {got.LeastMassKG, box.LeastMassKg, found.LeastMassKG},
			"greatest mass":      {got.GreatestMassKG, box.GreatestMassKg, found.GreatestMassKG},
			"spot":               {got.SpotM, box.SpotToleranceM, found.SpotM},
		} {
			want := values[2]
			if narrower {
				want = values[1]
			}
			if *values[0] != *want {
				t.Errorf("narrower %t, %s: %g, want %g", narrower, side, *values[0], *want)
			}
		}
	}
}

// A unit that expires before the card was to run out ends it.
func TestKeptCardEndsWithItsUnits(t *testing.T) {
	s, issue := sources(t, "cedar-1"), issued()
	issue.Kept = kept(s)
	for _, l := range s.Cycle.GetLots() {
		l.ExpireTime = timestamppb.New(time.Date(2041, 3, 7, 6, 20, 0, 0, time.UTC))
	}
	if c := build(t, s, issue); c.VoidAfter.Format("15:04") != "06:20" || !strings.Contains(c.VoidBecause, "expires") {
		t.Errorf("void after %s, %s", c.VoidAfter, c.VoidBecause)
	}
}

func TestVoidCardIsVoidAcrossThePage(t *testing.T) {
	whole := keptCard(t, func(*card.Kept) {})
	for name, change := range map[string]func(*card.Kept){
		"lot lot-11 is suspended": func(k *card.Kept) {
			k.Sortie.State, k.Sortie.VoidReasons = bowrollv1.SortieState_SORTIE_STATE_VOID, []string{"lot lot-11 is suspended"}
		},
		"made void": func(k *card.Kept) { k.Sortie.State = bowrollv1.SortieState_SORTIE_STATE_VOID },
		"cancelled: fog": func(k *card.Kept) {
			k.Plan.State, k.Plan.Reason = bowrollv1.PlanState_PLAN_STATE_CANCELLED, "fog"
		},
		"expired":  func(k *card.Kept) { k.Plan.State = bowrollv1.PlanState_PLAN_STATE_EXPIRED },
		"launched": func(k *card.Kept) { k.Sortie.State = bowrollv1.SortieState_SORTIE_STATE_LAUNCHED },
		"scrubbed": func(k *card.Kept) { k.Sortie.State = bowrollv1.SortieState_SORTIE_STATE_SCRUBBED },
	} {
		c := keptCard(t, change)
		if !strings.Contains(strings.Join(c.Voids, " "), name) {
			t.Errorf("void because of %q does not say %q", c.Voids, name)
		}
		if c.Digest != whole.Digest {
			t.Errorf("%s: a void card has another digest than when it held", name)
		}
		doc := paper.Document{Pages: []paper.Page{c.Page(quantity.Trade)}}
		var text, html, pdf bytes.Buffer
		if err := paper.Text(&text, doc); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(text.String(), "*** VOID ***"); n < 30 {
			t.Errorf("%s: the text is void in %d places", name, n)
		}
		if strings.Contains(text.String(), "READ BACK") {
			t.Errorf("%s: a void card can be read out", name)
		}
		if err := paper.HTML(&html, doc); err != nil || !strings.Contains(html.String(), `<p class="across" aria-hidden="true">VOID</p>`) {
			t.Errorf("%s: the page is not void across (%v)", name, err)
		}
		if name != "scrubbed" { // one picture stands for all
			continue
		}
		if err := paper.PDF(&pdf, doc, paper.Letter); err != nil {
			t.Fatal(err)
		}
		if sheets := papertest.PDFText(t, pdf.Bytes()); len(sheets) != 1 || !strings.Contains(sheets[0], "VOID: NOT FOR USE") {
			t.Errorf("%s: %d sheets: %q", name, len(sheets), sheets)
		}
	}
}

func TestNoCardWhereNoneWasIssued(t *testing.T) {
	s := sources(t, "cedar-1")
	c := build(t, s, card.Issue{Kept: kept(s)})
	if !strings.Contains(strings.Join(c.Refusals, " "), "No card was issued") {
		t.Errorf("refusals %q", c.Refusals)
	}
}
