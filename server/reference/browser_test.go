package reference_test

import (
	"context"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/server"
	"bowroll/server/assembly"
)

// service serves the whole of bowroll without a store.
func service(t *testing.T) *httptest.Server {
	t.Helper()
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	s, err := assembly.New(server.Config{Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Cores: 1, NewID: assembly.NewID}, folder)
	if err != nil {
		t.Fatal(err)
	}
	web := httptest.NewServer(s.Handler())
	t.Cleanup(func() {
		web.Close()
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return web
}

// browser starts Chromium, or skips where there is none outside CI.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes its time")
	}
	program, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("no chromium: the page must be tried in CI")
		}
		t.Skip("no chromium to try the page in")
	}
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox)...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return ctx
}

// A call is made from the page, by keyboard alone; a call that refers to the
// answer of an earlier one says so until that one was made.
func TestACallIsMadeInABrowser(t *testing.T) {
	web, ctx := service(t), browser(t)
	var mutex sync.Mutex
	var complaints, tokens []string
	if err := chromedp.Do(ctx, enable); err != nil {
		t.Fatal(err)
	}
	if err := chromedp.Listen(ctx, func(event any) {
		mutex.Lock()
		defer mutex.Unlock()
		switch e := event.(type) {
		case *log.EventEntryAdded:
			if !strings.HasSuffix(e.Entry.URL, "/favicon.ico") {
				complaints = append(complaints, e.Entry.Text+" "+e.Entry.URL)
			}
		case *network.EventRequestWillBeSent:
			if !strings.HasPrefix(e.Request.URL, web.URL) {
				complaints = append(complaints, "asked "+e.Request.URL)
			}
			if text := fmt.Sprint(e.Request.Headers); strings.Contains(text, "Bearer a.b.c") {
				tokens = append(tokens, text)
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	do := func(steps ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, steps...); err != nil {
			t.Fatal(err)
		}
	}
	read := func(expression string) string {
		t.Helper()
		text, err := chromedp.Run(ctx, chromedp.Poll[string](expression))
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	form := func(method string) string { return `form[data-method="` + method + `"]` }
	said := func(method string) string {
		t.Helper()
		return read(`(() => { const o = document.querySelector('` + form(method) + ` output'); return o.textContent.endsWith('…') ? '' : o.textContent })()`)
	}
	do(chromedp.EmulateViewport(360, 740),
		chromedp.Navigate(web.URL+"/reference/#Takeoffs.Compute"),
		chromedp.SendKeys("#token", "a.b.c"),
		chromedp.Focus(form("Takeoffs.Compute")+" button"),
		chromedp.KeyEvent("\r"))
	if made := said("Takeoffs.Compute"); made != "200 answered" {
		t.Error(made)
	}
	if shown := read(`document.querySelector('` + form("Takeoffs.Compute") + ` pre').textContent`); !strings.Contains(shown, `"outcome": "OUTCOME_`) {
		t.Errorf("%.300s", shown)
	}
	if kept := read(`String(localStorage.length + sessionStorage.length) + document.cookie`); kept != "0" {
		t.Errorf("the page keeps %s", kept)
	}
	if wide := read(`String(document.documentElement.scrollWidth)`); wide != "360" {
		t.Errorf("the page is %s wide where there is room for 360", wide)
	}
	do(chromedp.SendKeys("#find", "DiffCatalog"),
		chromedp.Click("details[id='Catalog.DiffCatalog'] > summary"),
		chromedp.Click(form("Catalog.DiffCatalog")+" button"))
	if early := said("Catalog.DiffCatalog"); !strings.Contains(early, "not sent: the request uses the answer of Catalog.ListCatalogRevisions") {
		t.Error(early)
	}
	if found := read(`document.getElementById('found').textContent`); !strings.HasPrefix(found, "1 of ") {
		t.Error(found)
	}
	mutex.Lock()
	defer mutex.Unlock()
	if len(complaints) > 0 {
		t.Errorf("the browser complains: %q", complaints)
	}
	if len(tokens) == 0 {
		t.Error("the token was not sent")
	}
}

// enable has the browser tell what it asks for and complains of.
func enable(ctx context.Context, target *chromedp.Target) (chromedp.Void, error) {
	_, err := cdp.Call(ctx, target, network.Enable, network.EnableParams{})
	if err == nil {
		_, err = cdp.Call(ctx, target, log.Enable, cdp.Empty{})
	}
	return chromedp.Void{}, err
}
