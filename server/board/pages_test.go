package board_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"golang.org/x/net/html"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// walk calls visit for every element below n.
func walk(n *html.Node, visit func(*html.Node)) {
	if n.Type == html.ElementNode {
		visit(n)
	}
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		walk(c, visit)
	}
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func inside(n *html.Node) string {
	var b strings.Builder
	var collect func(*html.Node)
	collect = func(n *html.Node) {
		if n.Type == html.TextNode {
			b.WriteString(n.Data)
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			collect(c)
		}
	}
	collect(n)
	return strings.TrimSpace(b.String())
}

// checkPage holds a page against what every page must be.
func checkPage(t *testing.T, path, text string, header http.Header) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(text))
	if err != nil {
		t.Fatal(path, err)
	}
	counts, ids, labelled := map[string]int{}, map[string]int{}, map[string]bool{}
	walk(root, func(n *html.Node) {
		if n.Data != "title" || n.Parent.Data == "head" { // a drawing has a title too
			counts[n.Data]++
		}
		if id := attribute(n, "id"); id != "" {
			ids[id]++
		}
		if n.Data == "label" {
			labelled[attribute(n, "for")] = true
		}
	})
	for _, once := range []string{"html", "title", "h1", "main", "header", "footer", "nav"} {
		if counts[once] != 1 {
			t.Errorf("%s has %d of <%s>", path, counts[once], once)
		}
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%s has %d of id %s", path, n, id)
		}
	}
	walk(root, func(n *html.Node) {
		switch n.Data {
		case "html":
			if attribute(n, "lang") != "en" {
				t.Errorf("%s: lang %q", path, attribute(n, "lang"))
			}
		case "title", "h1", "h2", "button", "a", "label", "legend", "summary":
			if inside(n) == "" {
				t.Errorf("%s: an empty <%s>", path, n.Data)
			}
		case "input", "select", "textarea":
			if attribute(n, "type") != "hidden" && !labelled[attribute(n, "id")] {
				t.Errorf("%s: <%s name=%s> has no label", path, n.Data, attribute(n, "name"))
			}
		case "img":
			if attribute(n, "alt") == "" {
				t.Errorf("%s: a picture without words", path)
			}
		case "script":
			if !strings.HasPrefix(attribute(n, "src"), "/assets/") || inside(n) != "" {
				t.Errorf("%s: a script of its own", path)
			}
		case "style":
			t.Errorf("%s: a style of its own", path)
		case "form":
			if attribute(n, "method") != "get" {
				word := false
				walk(n, func(f *html.Node) { word = word || attribute(f, "name") == "form" && attribute(f, "value") != "" })
				if !word {
					t.Errorf("%s: form to %s without its word", path, attribute(n, "action"))
				}
			}
		}
		for _, a := range n.Attr {
			switch {
			case strings.HasPrefix(a.Key, "on"), a.Key == "style":
				t.Errorf("%s: <%s %s>", path, n.Data, a.Key)
			case (a.Key == "href" || a.Key == "src" || a.Key == "action") && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#"):
				t.Errorf("%s leads outside: %s", path, a.Val)
			}
		}
	})
	for _, said := range []string{"Results advise", "This board triggers nothing"} {
		if !strings.Contains(text, said) {
			t.Errorf("%s does not say %q", path, said)
		}
	}
	if p := header.Get("Content-Security-Policy"); !strings.Contains(p, "default-src 'none'") || !strings.Contains(p, "frame-ancestors 'none'") || strings.Contains(p, "unsafe") {
		t.Errorf("%s: policy %q", path, p)
	}
	if header.Get("X-Content-Type-Options") != "nosniff" || header.Get("Cache-Control") != "no-store" {
		t.Errorf("%s: headers %v", path, header)
	}
}

const windQuery = "/wind?deck=sites%2Fvarrow%2Fdecks%2Fmain&type=aircraftTypes%2Fhalbrook&flap=takeoff&spot=s5&mass=11%2C000+lb&temperature=59+degF&pressure=29.92+inHg&booster=emberlin-6&grain=68+degF"

func TestEveryPageIsWhole(t *testing.T) {
	w := begin(t, false)
	w.keepDawn(t.Context())
	v := w.visitor()
	planned, _ := v.plan(dawnFile(t))
	for path, words := range map[string][]string{
		"/":                    {"Plan a launch cycle", "Model "},
		"/cycle":               {"Cycle file (YAML)", "Dawn launch", "Begin with an example"},
		"/cycle?example":       {"id: amber-1", "a ship that does not exist"},
		planned:                {"Launches", "Held", "Stock before and after", "Timeline", "Cautions", "Run req&#39;d", "amber-1", "request"},
		"/plans":               {"Varrow"},
		"/plans/varrow":        {"dawn-1", "confirmed", "VOID", "dawn-2", "draft"},
		"/plans/varrow/dawn-1": {"VOID", "Do not launch on it", "two duds in a row ashore", "Record a launch"},
		"/plans/varrow/dawn-2": {"Confirm and reserve"},
		"/wind":                {"Next: the load"},
		windQuery:              {"Least headwind", "The same in numbers", "With 2 units"},
		"/stock":               {"Varrow"},
		"/stock/varrow":        {"lot-07", "SUSPENDED", "expires in", "emberlin-6"},
		"/stock/varrow/lot-11": {"u11-01", "Log", "Exposure"},
		"/checks":              {"hold", "Published", "Digest of the model", "Versions of the model", "unit_thrust_sigma", "roll.s"},
		"/observed":            {"Varrow"},
		"/sweeps":              {"Varrow"},
		"/sweeps/varrow":       {"No sweep is kept here"},
		"/observed/varrow":     {"Drift", "No run was recorded here"},
	} {
		code, text, header := v.get(path)
		if code != http.StatusOK {
			t.Errorf("%s: %d %s", path, code, inMain(text))
		}
		checkPage(t, path, text, header)
		for _, word := range words {
			if !strings.Contains(text, word) {
				t.Errorf("%s does not say %q", path, word)
			}
		}
	}
	for path, code := range map[string]int{"/nowhere": 404, "/plans/varrow/none": 404, "/stock/varrow/none": 404, "/cycle/none": 404, "/plans/Varrow!": 422,
		strings.Replace(windQuery, "11%2C000+lb", "11000", 1): 422} {
		got, text, header := v.get(path)
		if got != code {
			t.Errorf("%s: %d, want %d", path, got, code)
		}
		checkPage(t, path, text, header)
	}
	for path, kind := range map[string]string{
		planned + "/cards": "text/html", planned + "/cards?as=pdf&valid_for=15+min&by=quill": "application/pdf", planned + "/cards?as=txt&sortie=amber-1": "text/plain",
		planned + "/sheet?as=pdf": "application/pdf", planned + "/margins.svg": "image/svg+xml", planned + "/runs/amber-1.svg": "image/svg+xml",
		strings.Replace(windQuery, "/wind?", "/wind.svg?", 1): "image/svg+xml", "/assets/board.css": "text/css", "/assets/board.js": "text/javascript",
	} {
		code, text, header := v.get(path)
		if code != http.StatusOK || !strings.HasPrefix(header.Get("Content-Type"), kind) || len(text) < 200 {
			t.Errorf("%s: %d, %s, %d bytes", path, code, header.Get("Content-Type"), len(text))
		}
		if p := header.Get("Content-Security-Policy"); strings.Contains(p, "script") && strings.Contains(p, "unsafe") {
			t.Errorf("%s: policy %q", path, p)
		}
	}
	if code, text, _ := v.get("/healthz"); code != http.StatusOK || !strings.Contains(text, "SERVING") {
		t.Errorf("the probe is hidden: %d %s", code, text)
	}
	if code, text, _ := v.get("/v1/model"); code != http.StatusOK || !strings.HasPrefix(text, "{") {
		t.Errorf("the JSON service is hidden: %d", code)
	}
}

func TestFaultsOfAFileAreAllSaidWithTheirLines(t *testing.T) {
	v := begin(t, false).visitor()
	bad := strings.Replace(strings.Replace(string(dawnFile(t)), "temperature: 88 degF", "temperature: 88", 1), "team_count: 3", "team_cuont: 3", 1)
	_, text := v.plan([]byte(bad))
	for _, word := range []string{"2 faults; nothing was planned", "line 1", "air.temperature", "has no unit", "did you mean team_count?"} {
		if !strings.Contains(text, word) {
			t.Errorf("the page does not say %q", word)
		}
	}
	// What the service alone can refuse is said with its line too.
	_, text = v.plan([]byte(strings.Replace(string(dawnFile(t)), "deck: sites/varrow/decks/main", "deck: sites/varrow/decks/none", 1)))
	if !strings.Contains(text, "dawn.yaml:10:") && !strings.Contains(text, "is not in the catalog") {
		t.Error("an unknown deck is not said:", inMain(text))
	}
	code, text, _ := v.post("/cycle", url.Values{"text": {strings.Repeat("#", 3<<20)}})
	if code != http.StatusRequestEntityTooLarge {
		t.Errorf("a large form: %d %s", code, inMain(text))
	}
	if code, text, _ = v.post("/cycle", url.Values{"text": {"<script>alert(1)</script>: [\n"}}); code != 422 || strings.Contains(text, "<script>alert") {
		t.Errorf("%d, or a text that was not escaped", code)
	}
}

// inMain is the text of a page without its frame.
func inMain(text string) string {
	root, err := html.Parse(strings.NewReader(text))
	if err != nil {
		return err.Error()
	}
	said := ""
	walk(root, func(n *html.Node) {
		if n.Data == "main" {
			said = inside(n)
		}
	})
	return said
}

func TestFormsOfOthersAreRefused(t *testing.T) {
	w := begin(t, false)
	w.keepDawn(t.Context())
	v := w.visitor()
	cancel := url.Values{"reason": {"weather"}, "actor": {"quill"}, "request_id": {"cancel-dawn-2"}, "form": {"wrong"}}
	if code, text, _ := v.post("/plans/varrow/dawn-2/cancel", cancel); code != http.StatusForbidden {
		t.Errorf("a wrong word: %d %s", code, inMain(text))
	}
	cancel.Set("form", w.visitor().word())
	if code, _, _ := v.post("/plans/varrow/dawn-2/cancel", cancel); code != http.StatusForbidden {
		t.Errorf("the word of another session: %d", code)
	}
	cancel.Set("form", v.word())
	r, _ := http.NewRequest(http.MethodPost, w.url+"/plans/varrow/dawn-2/cancel", strings.NewReader(cancel.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "cross-site")
	got, err := v.client.Do(r)
	if code, _, _ := v.read(got, err); code != http.StatusForbidden {
		t.Errorf("from another site: %d", code)
	}
	if code, text, _ := v.post("/plans/varrow/dawn-2/cancel", cancel); code != http.StatusOK || !strings.Contains(text, "cancelled: weather") {
		t.Errorf("%d %s", code, inMain(text))
	}
	// Sent twice it is done once.
	if code, text, _ := v.post("/plans/varrow/dawn-2/cancel", cancel); code != http.StatusOK {
		t.Errorf("again: %d %s", code, inMain(text))
	}
	// A form leads nowhere else.
	v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	for _, to := range []string{"//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", ""} {
		if _, _, header := v.post("/look", url.Values{"look": {"night"}, "next": {to}}); header.Get("Location") != "/" {
			t.Errorf("%q leads to %q", to, header.Get("Location"))
		}
	}
}

func TestOnlyThoseWhoMayAreOfferedAndLet(t *testing.T) {
	w := begin(t, true)
	v := w.visitor()
	for _, path := range []string{"/", "/cycle", "/plans/varrow", "/stock/varrow", "/checks", windQuery} {
		if _, text, _ := v.get(path); !strings.Contains(text, "<h1>Sign in</h1>") {
			t.Errorf("%s shows something to nobody", path)
		}
	}
	if code, _, _ := v.post("/cycle", url.Values{"text": {"x"}}); code != http.StatusUnauthorized {
		t.Errorf("nobody plans: %d", code)
	}
	if code, text, _ := v.post("/sign-in", url.Values{"token": {"eyJ.wrong.token"}}); code != http.StatusUnauthorized || !strings.Contains(text, "does not hold") {
		t.Errorf("a wrong token: %d", code)
	}
	enter := func(v *visitor, name string, grants ...string) {
		t.Helper()
		code, text, _ := v.post("/sign-in", url.Values{"token": {w.token(name, grants...)}, "next": {"/"}})
		if code != http.StatusOK || !strings.Contains(text, name) {
			t.Fatalf("%s: %d %s", name, code, inMain(text))
		}
	}
	enter(v, "analyst-7", "reader@varrow")
	if _, text, _ := v.get("/"); strings.Contains(text, `href="/cycle"`) || !strings.Contains(text, "needs the role planner") {
		t.Error("a reader is offered planning")
	}
	if code, text, _ := v.get("/cycle"); code != http.StatusForbidden || !strings.Contains(text, "analyst-7 with reader@varrow") {
		t.Errorf("a reader plans: %d %s", code, inMain(text))
	}
	planner := w.visitor()
	enter(planner, "quill", "planner@varrow")
	path, _ := planner.plan(dawnFile(t))
	if code, _, _ := v.get(path); code != http.StatusNotFound {
		t.Errorf("another's plan: %d", code)
	}
	code, text, _ := planner.post(path+"/keep", url.Values{"plan_id": {"dawn-9"}, "actor": {"somebody else"}, "request_id": {"keep-dawn-9"}})
	if code != http.StatusOK || !strings.Contains(text, "Confirm and reserve") {
		t.Fatalf("keeping: %d %s", code, inMain(text))
	}
	if code, text, _ := v.get("/plans/varrow/dawn-9"); code != http.StatusOK || strings.Contains(text, "Confirm and reserve") || strings.Contains(text, "Cancel the plan") {
		t.Errorf("a reader is offered to confirm: %d", code)
	}
	code, text, _ = v.post("/plans/varrow/dawn-9/confirm", url.Values{"etag": {"e1"}, "hold_until": {"2041-03-07T08:00Z"}, "request_id": {"confirm-dawn-9"}})
	if code != http.StatusForbidden || !strings.Contains(text, "the role planner at site varrow") || !strings.Contains(text, "analyst-7") {
		t.Errorf("a reader confirms: %d %s", code, inMain(text))
	}
	if code, _, _ := v.get("/plans/orrin"); code != http.StatusForbidden && code != http.StatusNotFound {
		t.Errorf("another site: %d", code)
	}
	if _, text, _ := v.post("/sign-out", nil); !strings.Contains(text, "<h1>Sign in</h1>") {
		t.Error("signed out and still there")
	}
	if _, text, _ := v.get("/checks"); !strings.Contains(text, "<h1>Sign in</h1>") {
		t.Error("signed out and still served")
	}
}
