package board

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/testdata/mutate"
)

// posted is a form as it arrives.
func posted(body string) *http.Request {
	r := httptest.NewRequest(http.MethodPost, "/", strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return r
}

// Whatever a form holds, its readers answer with a value inside its bounds or
// with a problem for the page.
func FuzzForms(f *testing.F) {
	for _, seed := range []string{
		"", "text=id%3A+dawn&name=dawn.yaml&prices=1", "headwind=24+kt&crosswind=-3+kt&temperature=88+degF&grain=70+degF&mass=14%2C200+lb&sortie=amber-1",
		"valid_for=15+min&by=quill", "hold_until=2041-03-07T08%3A30Z", "hold_until=0000-01-01T00:00Z", "valid_for=-1+h", "name=..%2F..%2Fetc", "mass=NaN+kg", "mass=1e999+kg", "%zz=%",
		"outcome-u07-01=expended&outcome-u07-02=hung+up&place-u07-02=rack&note-u07-02=%00", "outcome-u07-01=expended&outcome-u07-02=EXPENDED",
		"count=2&booster=emberlin-6&mass=6000+kg&flap=takeoff&spot=s5&temperature=15+degC&pressure=1013+hPa&grain=20+degC",
	} {
		f.Add(seed)
	}
	mutate.More(f)
	f.Fuzz(func(t *testing.T, body string) {
		if err := readForm(posted(body)); err != nil && problemOf(err).Code >= 500 {
			t.Fatal(err)
		}
		if sent, source, err := cycleForm(posted(body)); err == nil {
			if len(source) > mostCycle || len([]rune(sent.File)) > 80 || strings.ContainsAny(sent.File, "/\n\r") {
				t.Fatalf("%q, %d bytes", sent.File, len(source))
			}
		}
		if live, err := liveForm(posted(body)); err == nil {
			for _, v := range []*float64{live.HeadwindMps, live.CrosswindMps, live.GrossMassKg, live.TemperatureC, live.GrainTemperatureC} {
				if v != nil && (*v != *v || *v-*v != 0) {
					t.Fatalf("%v is read", *v)
				}
			}
		} else if p := problemOf(err); p.Code != http.StatusUnprocessableEntity || p.Title == "" {
			t.Fatal(err)
		}
		if issue, err := issueForm(posted(body)); err == nil && (issue.ValidFor < 0 || issue.ValidFor > 24*time.Hour) {
			t.Fatal(issue)
		}
		if at, err := instantForm(posted(body), "hold_until", "Reserved until"); err == nil && at.CheckValid() != nil {
			t.Fatal(at)
		}
		units := []fittedUnit{{Unit: "u07-01"}, {Unit: "u07-02"}}
		if asked, err := launchForm(posted(body), "sites/varrow/plans/dawn-1", "amber-1", nil, units); err == nil {
			for _, o := range asked.GetOutcomes() {
				if o.GetEvent() == bowrollv1.UnitEvent_UNIT_EVENT_UNSPECIFIED || o.GetReason() == "" {
					t.Fatalf("nothing is said of %s", o.GetUnit())
				}
			}
			if len(asked.GetOutcomes()) != len(units) {
				t.Fatalf("%d of %d units are said", len(asked.GetOutcomes()), len(units))
			}
		} else if problemOf(err).Code != http.StatusUnprocessableEntity {
			t.Fatal(err)
		}
		if to := localPath(body); !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.Contains(to, "\\") {
			t.Fatalf("leads to %q", to)
		}
		if in, err := url.ParseQuery(body); err == nil {
			shown := &windView{In: in, Deck: &bowrollv1.Deck{Name: "sites/varrow/decks/main"}, Type: &bowrollv1.AircraftType{Name: "aircraftTypes/halbrook", Loadings: []*bowrollv1.Loading{{}, {}}}}
			shown.Counts = counts(shown.Type, in)
			if asked, faults := windRequest(shown); (asked == nil) != (len(faults) > 0) {
				t.Fatal("neither a request nor a fault")
			}
		}
		if name := fileName(body); utf8.ValidString(body) && !utf8.ValidString(name) || name == "" {
			t.Fatalf("%q", name)
		}
	})
}

func TestOneSessionWorksOnOnePlanAtATime(t *testing.T) {
	now := time.Date(2041, 3, 7, 4, 30, 0, 0, time.UTC)
	js := newJobs(func() time.Time { return now })
	make := func(id, session string) *job {
		return &job{id: id, session: session, begun: now, cancel: func() {}, changed: make(chan struct{})}
	}
	first := make("a", "one")
	if err := js.add(first); err != nil {
		t.Fatal(err)
	}
	if err := js.add(make("b", "one")); err == nil {
		t.Error("two at a time")
	}
	if err := js.add(make("c", "two")); err != nil {
		t.Error(err)
	}
	first.change(func() { first.ended = true })
	if err := js.add(make("d", "one")); err != nil {
		t.Error(err)
	}
	if js.find("a", &visitor{session: "two"}) != nil || js.find("a", &visitor{session: "one"}) != first {
		t.Error("a plan is its session's alone")
	}
	now = now.Add(keptFor + time.Minute)
	if js.find("a", &visitor{session: "one"}) != nil {
		t.Error("a plan is kept too long")
	}
	if js.find("c", &visitor{session: "two"}) == nil {
		t.Error("a plan being worked on was dropped")
	}
	for i := range 3 * mostJobs {
		j := make(string(rune('A'+i)), string(rune('A'+i)))
		j.ended = true
		if err := js.add(j); err != nil {
			t.Fatal(err)
		}
	}
	if len(js.list) > mostJobs {
		t.Errorf("%d are held", len(js.list))
	}
}
