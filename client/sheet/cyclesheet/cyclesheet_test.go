package cyclesheet_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"bowroll/client/sheet/cyclesheet"
	"bowroll/client/sheet/paper"
	"bowroll/client/sheet/papertest"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

func dawn(t testing.TB) cyclesheet.Sheet {
	t.Helper()
	d := papertest.Load(t, "../testdata")
	return cyclesheet.Sheet{Cycle: d.Cycle, Plan: d.Plan, Units: quantity.Trade, Variants: []cyclesheet.Variant{
		{Name: "as planned", Launched: 9, Priority: 615, UnitsOut: 15, Proven: true},
		{Name: "wind 3 kt less", Launched: 8, Priority: 540, UnitsOut: 16, Dropped: []string{"cedar-2"}, Proven: true},
		{Name: "one fitting team more", Launched: 10, Priority: 635, UnitsOut: 17, Besides: []string{"amber-4"}},
	}}
}

func TestSheetAsTextAndHTML(t *testing.T) {
	var text, html bytes.Buffer
	if err := paper.Text(&text, dawn(t).Document()); err != nil {
		t.Fatal(err)
	}
	papertest.Golden(t, "dawn.txt", text.Bytes())
	if err := paper.HTML(&html, dawn(t).Document()); err != nil {
		t.Fatal(err)
	}
	papertest.Golden(t, "dawn.html", html.Bytes())
	for _, not := range []string{"http:", "https:", "src=", "url(", "<script", "<link"} {
		if strings.Contains(html.String(), not) {
			t.Errorf("the page is not self-contained: it has %q", not)
		}
	}
}

func TestSheetAsPDF(t *testing.T) {
	for _, size := range []paper.Size{paper.A4, paper.Letter} {
		var out bytes.Buffer
		if err := paper.PDF(&out, dawn(t).Document(), size); err != nil {
			t.Fatal(err)
		}
		all := strings.Join(papertest.PDFText(t, out.Bytes()), "\n")
		for _, want := range []string{"Dawn launch", "Steer", "cedar-1", "Held", "dune-2", "Timeline", "igniters in", "Stock before and after",
			"NOT FOR USE: quarantined", "What if", "proven)", "CAUTION", "approved flight manual"} {
			if !strings.Contains(all, want) {
				t.Errorf("%s lacks %q", size.Name, want)
			}
		}
		papertest.CheckPicture(t, out.Bytes())
	}
}

// A long queue runs on over as many sheets as it takes and loses nothing.
func TestLongQueueRunsOn(t *testing.T) {
	s := dawn(t)
	first := s.Plan.GetLaunches()[0]
	s.Plan = proto.Clone(s.Plan).(*bowrollv1.CyclePlan)
	s.Plan.Launches, s.Plan.Timeline = nil, nil
	for i := range 150 {
		l := proto.Clone(first).(*bowrollv1.PlannedLaunch)
		l.Sortie, l.Order, l.LaunchS = fmt.Sprintf("kite-%03d", i+1), int32(i+1), float64(60*i)
		s.Plan.Launches = append(s.Plan.Launches, l)
	}
	var out bytes.Buffer
	if err := paper.PDF(&out, s.Document(), paper.A4); err != nil {
		t.Fatal(err)
	}
	sheets := papertest.PDFText(t, out.Bytes())
	all := strings.Join(sheets, "\n")
	for i := range 150 {
		if id := fmt.Sprintf("kite-%03d", i+1); strings.Count(all, id) < 2 { // in the table and the timeline
			t.Errorf("%s is on the sheets %d times, want 2 or more", id, strings.Count(all, id))
		}
	}
	if len(sheets) < 4 || len(sheets) > 12 {
		t.Errorf("150 launches take %d sheets", len(sheets))
	}
	papertest.CheckPicture(t, out.Bytes())
}

// Nothing launches, no timeline, no stock, no wind: still a sheet that says so.
func TestEmptyPlan(t *testing.T) {
	s := cyclesheet.Sheet{Cycle: &bowrollv1.Cycle{Id: "none"}, Plan: &bowrollv1.CyclePlan{Id: "none"}}
	var out, pdf bytes.Buffer
	if err := paper.Text(&out, s.Document()); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "Nothing launches.") || !strings.Contains(out.String(), "NOT proven best") {
		t.Errorf("an empty plan reads:\n%s", out.String())
	}
	if err := paper.PDF(&pdf, s.Document(), paper.A4); err != nil {
		t.Fatal(err)
	}
}
