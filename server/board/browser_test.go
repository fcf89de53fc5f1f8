package board_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
	"bowroll/server/board"
	"bowroll/server/catalog"
	"bowroll/server/published"
	"bowroll/server/refusal"
)

// browser is a Chromium that nobody sees.
type browser struct {
	t   *testing.T
	ctx context.Context
}

// newBrowser starts Chromium, or skips where there is none.
func newBrowser(t *testing.T) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes its time")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not installed, which CI must have")
		}
		t.Skip("chromium is not installed")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("disable-dev-shm-usage", true), chromedp.WSURLReadTimeout(time.Minute))
	allocated, end := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, stop := chromedp.NewContext(allocated)
	limited, cancel := context.WithTimeout(ctx, 90*time.Second)
	t.Cleanup(func() { cancel(); stop(); end() })
	return &browser{t, limited}
}

// do runs actions; name says which in a failure.
func (b *browser) do(name string, actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		text, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string](`document.body ? document.body.innerText.slice(0, 2000) : ""`))
		b.t.Fatalf("%s: %v\nthe page says:\n%s", name, err, text)
	}
}

// ask evaluates an expression on the page.
func ask[T any](b *browser, expression string) T {
	b.t.Helper()
	value, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		b.t.Fatalf("%s: %v", expression, err)
	}
	return value
}

// sized sets the window and what the screen asks for.
func sized(width int64, scheme string) chromedp.Action[chromedp.Void] {
	return chromedp.Steps(chromedp.EmulateViewport(width, 800), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return err
	}))
}

// picture keeps a screenshot of the page where BOARD_PICTURES names a folder.
func (b *browser) picture(name string) {
	b.t.Helper()
	folder := os.Getenv("BOARD_PICTURES")
	if folder == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name+".png"), png, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// print keeps the page as it prints on A4 beside its pictures.
func (b *browser) print(name string) {
	b.t.Helper()
	paper, err := chromedp.Run(b.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4)))
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(os.Getenv("BOARD_PICTURES"), name+".pdf"), paper, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// until waits until an expression is true, over any number of pages.
func until(expression string) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		for end := time.Now().Add(20 * time.Second); ; {
			// A page that is being left cannot be asked.
			if yes, err := chromedp.Evaluate[bool](expression)(ctx, t); err == nil && yes {
				return nil
			}
			if time.Now().After(end) {
				return fmt.Errorf("not in time: %s", expression)
			}
			time.Sleep(50 * time.Millisecond)
		}
	})
}

// says waits until the page says something.
func says(text string) chromedp.Action[chromedp.Void] {
	return until(fmt.Sprintf(`!!document.body && document.body.innerText.toLowerCase().includes(%q)`, strings.ToLower(text)))
}

// fits fails where the page is wider than its window.
func (b *browser) fits(name string) {
	b.t.Helper()
	over := ask[[]string](b, `(() => { const wide = document.documentElement.clientWidth; if (document.documentElement.scrollWidth <= wide) return [];
		return [...document.querySelectorAll("main *, header *, footer *")].filter(e => e.getBoundingClientRect().right > wide + 1 && !e.closest(".scroll, .drawing, pre")).slice(0, 5).map(e => e.outerHTML.slice(0, 120)); })()`)
	if len(over) > 0 {
		b.t.Errorf("%s is wider than its window: %q", name, over)
	}
}

func write(t *testing.T, name string, text []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestFromFileToCardsInABrowser(t *testing.T) {
	b := newBrowser(t)
	w := begin(t, false)
	w.keepDawn(t.Context())
	w.observe(t.Context())
	w.sweep(t.Context())
	good := write(t, "dawn.yaml", dawnFile(t))
	bad := write(t, "faulty.yaml", []byte(strings.Replace(string(dawnFile(t)), "temperature: 88 degF", "temperature: 88", 1)))

	b.do("an error in the file", sized(360, "light"), chromedp.Navigate(w.url+"/cycle"), chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{bad}), chromedp.Click(chromedp.CSS("main form button.main")),
		says("1 fault; nothing was planned"), says("has no unit"), says("line "))
	b.picture("fault-360-day")
	b.fits("a fault")

	b.do("a plan", chromedp.Navigate(w.url+"/cycle"), chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{good}), chromedp.Click(chromedp.CSS("main form button.main")), says("Stock before and after"), says("amber-1"))
	b.picture("plan-360-day")
	b.fits("the plan")
	b.do("wide, by night", sized(1280, "dark"))
	b.picture("plan-1280-night")
	b.fits("the plan, wide")
	if os.Getenv("BOARD_PICTURES") != "" {
		b.print("plan")
	}
	b.do("the cards", chromedp.SetValue(chromedp.CSS("#valid_for"), "15 min"), chromedp.Click(chromedp.CSS(`button[value="html"]`)), says("Void after"))
	b.picture("cards-1280-night")

	for _, shot := range []struct{ name, path, word string }{
		{"home", "/", "Plan a launch cycle"}, {"cycle", "/cycle", "Cycle file"}, {"plans", "/plans/varrow", "dawn-1"},
		{"void", "/plans/varrow/dawn-1", "VOID"}, {"wind", windQuery, "Least headwind"}, {"stock", "/stock/varrow", "SUSPENDED"},
		{"lot", "/stock/varrow/lot-11", "u11-01"}, {"checks", "/checks", "Published"}, {"observed", "/observed/varrow", "corvane-spring"}, {"sweeps", "/sweeps/varrow", "mass-and-wind"}, {"sweep", "/sweeps/varrow/mass-and-wind", "What varies"}, {"cancelled-sweep", "/sweeps/varrow/too-fine", "asked too finely"}, {"launch", "/plans/varrow/dawn-1/launch/cedar-1", "u11-03"}, {"draft", "/plans/varrow/dawn-2", "Reserves every unit"}, {"missing", "/nowhere", "no such page"},
	} {
		b.do(shot.name, sized(360, "dark"), chromedp.Navigate(w.url+shot.path), says(shot.word))
		b.fits(shot.name + " at 360")
		b.picture(shot.name + "-360-night")
		b.do(shot.name, sized(1280, "light"))
		b.fits(shot.name + " at 1280")
		b.picture(shot.name + "-1280-day")
		if os.Getenv("BOARD_PICTURES") != "" { // the other way round too
			b.do(shot.name, sized(360, "light"))
			b.picture(shot.name + "-360-day")
			b.do(shot.name, sized(1280, "dark"))
			b.picture(shot.name + "-1280-night")
			b.print(shot.name)
		}
	}
	b.do("computed anew", sized(360, "light"), chromedp.Navigate(w.url+"/plans/varrow/dawn-1"), chromedp.Click(chromedp.CSS(`form[action$="/recompute"] button`)), says("Digest as kept"), says("comes out as it was kept"))
	b.picture("again-360-day")
	b.do("a void card", chromedp.Navigate(w.url+"/plans/varrow/dawn-1"), says("VOID"))
	void := ask[string](b, `document.querySelector(".void").innerText`)
	if !strings.Contains(void, "VOID") || !strings.Contains(void, "holds no longer") || !strings.Contains(void, "two duds in a row ashore") {
		t.Errorf("a void card says %q", void)
	}
	b.do("the switch to night", sized(1280, "light"), chromedp.Click(chromedp.CSS(`button[value="night"]`)), until(`!!document.querySelector("button[value=night][aria-pressed]")`))
	if night := ask[string](b, `getComputedStyle(document.body).backgroundColor`); night != "rgb(13, 14, 15)" {
		t.Errorf("night is %s", night)
	}
}

func TestWithTheKeyboardAlone(t *testing.T) {
	b := newBrowser(t)
	w := begin(t, false)
	focused := func() string {
		return ask[string](b, `(() => { const e = document.activeElement; return (e.id || e.textContent.trim() || e.name) + (e === document.body ? "" : "|" + getComputedStyle(e).outlineStyle); })()`)
	}
	b.do("open", sized(1280, "light"), chromedp.Navigate(w.url+"/cycle"), chromedp.KeyEvent(kb.Tab))
	if at := focused(); at != "Skip to the page|solid" {
		t.Errorf("the first stop is %q", at)
	}
	b.do("skip", chromedp.KeyEvent(kb.Enter))
	var stops []string
	for range 5 {
		b.do("tab", chromedp.KeyEvent(kb.Tab))
		stops = append(stops, focused())
	}
	if got := strings.Join(stops, ", "); got != "file|solid, text|solid, Begin with an example|solid, prices|solid, Plan the cycle|solid" {
		t.Errorf("the stops are %s", got)
	}
	// The text is pasted, and the plan asked for, without a pointer.
	b.do("type and send", chromedp.SetValue(chromedp.CSS("#text"), string(dawnFile(t))), chromedp.KeyEvent(kb.Enter), says("Stock before and after"))
	// No stop holds the focus: it comes round to the first again.
	for n := 0; ; n++ {
		b.do("tab", chromedp.KeyEvent(kb.Tab))
		at := focused()
		if strings.HasPrefix(at, "Skip to the page") {
			break
		}
		if at != "" && !strings.HasSuffix(at, "|solid") && !strings.HasPrefix(at, "bowroll") && at != focused() {
			t.Errorf("focus is not seen on %q", at)
		}
		if n > 150 {
			t.Fatalf("the focus does not come round; it is on %q", at)
		}
	}
}

// tabTo presses Tab until the focus is on what the expression says.
func (b *browser) tabTo(what string) {
	b.t.Helper()
	for range 120 {
		b.do("tab", chromedp.KeyEvent(kb.Tab))
		if ask[bool](b, "(e => "+what+")(document.activeElement)") {
			return
		}
	}
	b.t.Fatalf("no stop is %s", what)
}

func TestFromSigningInToACardInABrowserByKeyboard(t *testing.T) {
	b := newBrowser(t)
	w := begin(t, true)
	w.keepDawn(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+w.token("quill", "planner@varrow", "armament@varrow")))
	signIn := func(name, role string) {
		t.Helper()
		b.do("sign-in", chromedp.Navigate(w.url+"/plans/varrow/dawn-2"), says("Give the token"))
		b.picture("signin-" + name + "-360-day")
		b.fits("sign-in")
		b.tabTo(`e.id === "token"`)
		b.do("the token", chromedp.KeyEvent(w.token(name, role+"@varrow")), chromedp.KeyEvent(kb.Enter), says("Plan dawn-2"), says(name))
	}
	b.do("narrow", sized(360, "light"))
	signIn("analyst-7", "reader")
	if ask[bool](b, `!!document.querySelector("form[action$='/confirm'], form[action$='/cancel'], form[action$='/card']")`) {
		t.Error("a reader is offered what only a planner may do")
	}
	b.picture("reader-360-day")
	_ = ask[bool](b, `fetch("/plans/varrow/dawn-2/confirm", {method: "POST", body: new URLSearchParams({form: document.querySelector("[name=form]").value, etag: "e1", hold_until: "2041-03-07T08:00Z", request_id: "reader-confirms"})}).then(async r => { window.got = r.status + " " + await r.text() }), true`)
	b.do("refused", until(`window.got && window.got.startsWith("403 ") && window.got.includes("analyst-7")`))
	b.do("denied", chromedp.Navigate(w.url+"/cycle"), says("needs the role planner"))
	b.picture("denied-360-day")
	b.fits("denied")
	b.tabTo(`e.textContent === "Sign out"`)
	b.do("sign out", chromedp.KeyEvent(kb.Enter), says("Give the token"))

	signIn("quill", "planner")
	b.tabTo(`e.textContent === "Cycle"`)
	b.do("the cycle", chromedp.KeyEvent(kb.Enter), says("Cycle file"))
	b.tabTo(`e.id === "text"`)
	b.do("pasted", chromedp.SetValue(chromedp.CSS("#text"), string(dawnFile(t))))
	b.tabTo(`e.textContent === "Plan the cycle"`)
	b.do("planned", chromedp.KeyEvent(kb.Enter), says("Stock before and after"))
	b.tabTo(`e.textContent === "card of birch-2"`)
	b.do("the card", chromedp.KeyEvent(kb.Enter), says("Void after"), says("birch-2"))
}

// Paper is white whatever the screen is like.
func TestPaperIsDayInABrowser(t *testing.T) {
	b := newBrowser(t)
	w := begin(t, false)
	b.do("night", sized(1280, "dark"), chromedp.Navigate(w.url+"/checks"), says("Published"), chromedp.Click(chromedp.CSS(`button[value="night"]`)), until(`!!document.querySelector("button[value=night][aria-pressed]")`),
		chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
			return err
		}))
	if sheet := ask[string](b, `getComputedStyle(document.body).backgroundColor + getComputedStyle(document.body).color`); sheet != "rgb(255, 255, 255)rgb(18, 20, 21)" {
		t.Errorf("paper is %s", sheet)
	}
}

// slow never ends a plan, after saying that it began.
type slow struct {
	bowrollv1.UnimplementedCyclesServer
}

func (slow) PlanStream(_ *bowrollv1.CyclesPlanRequest, s grpc.ServerStreamingServer[bowrollv1.CyclesPlanStreamResponse]) error {
	if err := s.Send(&bowrollv1.CyclesPlanStreamResponse{Event: &bowrollv1.CyclesPlanStreamResponse_Progress{
		Progress: &bowrollv1.PlanProgress{Stage: bowrollv1.PlanStage_PLAN_STAGE_FITS, DoneCount: 3, TotalCount: 12}}}); err != nil {
		return err
	}
	<-s.Context().Done()
	return s.Context().Err()
}

// beginSlow starts a service whose plans never end.
func beginSlow(t *testing.T) (web *httptest.Server) {
	t.Helper()
	return beginWith(t, func(s *server.Services) { s.Cycles = slow{} })
}

// beginWith starts a service in which something is another than usual.
func beginWith(t *testing.T, change func(*server.Services)) (web *httptest.Server) {
	t.Helper()
	screen, err := refusal.NewScreen(server.Contract()...)
	if err != nil {
		t.Fatal(err)
	}
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	snapshot, err := catalog.Load(folder, screen.Validator())
	if err != nil {
		t.Fatal(err)
	}
	services := assembly.Services(screen, snapshot, []published.Row{}, 1)
	change(&services)
	s, err := server.New(server.Config{Log: zap.NewNop(), NewID: assembly.NewID, Registry: prometheus.NewRegistry(), Screen: screen, Cores: 1, Now: now,
		Pages: func(conn *grpc.ClientConn) (http.Handler, error) {
			return board.New(board.Config{Conn: conn, Keeps: services.Sweeps != nil, Now: now, NewID: assembly.NewID})
		}}, services)
	if err != nil {
		t.Fatal(err)
	}
	web = httptest.NewServer(s.Handler())
	t.Cleanup(func() {
		web.CloseClientConnections()
		web.Close()
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return web
}

func TestALostConnectionIsSaid(t *testing.T) {
	b := newBrowser(t)
	web := beginSlow(t)
	file := write(t, "dawn.yaml", dawnFile(t))
	b.do("a plan under way", sized(360, "dark"), chromedp.Navigate(web.URL+"/cycle"), chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{file}), chromedp.Click(chromedp.CSS("main form button.main")), says("fit 3 of 12"))
	b.picture("working-360-night")
	b.fits("working")
	// One plan at a time.
	_ = ask[bool](b, `fetch("/cycle", {method: "POST", body: new URLSearchParams({form: document.querySelector("[name=form]").value, text: document.querySelector("[name=text]").value})}).then(r => { window.second = r.status }), true`)
	b.do("another", until(`window.second === 429`))
	b.do("cancel", chromedp.Click(chromedp.CSS(`form[action$="/cancel"] button`)), says("The plan was cancelled"))
	b.do("again", chromedp.Click(chromedp.CSS("button.main")), says("fit 3 of 12"))
	_ = web.Listener.Close()
	web.CloseClientConnections()
	b.do("lost", says("The connection is lost"), says("Plan the same file again"), says("is not known"))
	b.picture("lost-360-night")
	b.fits("lost")
	if at := ask[string](b, `document.activeElement.id`); at != "lost" {
		t.Errorf("the focus is on %q", at)
	}
}
