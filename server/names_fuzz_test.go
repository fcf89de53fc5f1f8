package server_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/server"
	"bowroll/server/assembly"
)

// FuzzName asks a service with a store for whatever a path names. It answers with
// what has that name, or refuses in JSON; nothing that a name holds is an error
// inside the service.
func FuzzName(f *testing.F) {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		f.Fatal(err)
	}
	store, err := assembly.OpenStore(f.Context(), filepath.Join(f.TempDir(), "bowroll.db"))
	if err != nil {
		f.Fatal(err)
	}
	s, err := assembly.New(server.Config{
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(f), Cores: 1, NewID: assembly.NewID,
	}, folder, assembly.WithStore(store, time.Now))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _, _ = s.Close(), store.Close() })
	for _, name := range []string{"sites/varrow", "sites/varrow/decks/main", "aircraftTypes/halbrook", "boosterTypes/emberlin-6", "sites/varrow/lots/none",
		"sites/varrow/plans/noon:debrief", "sites/varrow/lots/a:exposure", "sites/..%2Fvarrow", "sites/varrow//decks", "sites/VARROW", "sites/varrow/decks/main/",
		"sites/%00", "sites/varrow/plans/%F0%9F%9A%80", "model:check", "sites/varrow/movements?page_token=x",
		"sites/varrow/lots/a%91", "sites/varrow/movements?page_token=%91", "sites/varrow/movements?%91=x", "%91"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		at, err := url.Parse("http://bowroll.example/v1/" + name)
		if err != nil || at.Host != "bowroll.example" {
			return // no client can send it
		}
		got := httptest.NewRecorder()
		s.Handler().ServeHTTP(got, &http.Request{Method: http.MethodGet, URL: at, Host: at.Host, Header: http.Header{}, Body: http.NoBody,
			Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, RemoteAddr: "127.0.0.1:9"})
		if got.Code >= 500 && got.Code != http.StatusGatewayTimeout && got.Code != http.StatusNotImplemented {
			t.Fatalf("%q: %d %s", name, got.Code, got.Body)
		}
		if got.Code >= 300 && got.Code < 400 {
			return // sent to the clean form of the path
		}
		if got.Code >= 400 && strings.Contains(got.Body.String(), `"INTERNAL"`) {
			t.Fatalf("%q: %d %s", name, got.Code, got.Body)
		}
		var answer struct{ Name string }
		if err := json.Unmarshal(got.Body.Bytes(), &answer); err != nil {
			t.Fatalf("%q: %d, not JSON: %.300s", name, got.Code, got.Body)
		}
		if got.Code == http.StatusOK && answer.Name != "" && at.Path != "/v1/"+answer.Name {
			t.Fatalf("%q is answered with %q", name, answer.Name)
		}
	})
}
