package server_test

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// paths of the contract and a method that each takes.
var paths = []struct{ method, path string }{
	{"POST", "/v1/takeoffs:compute"}, {"POST", "/v1/takeoffs:batchCompute"}, {"POST", "/v1/takeoffs:trace"},
	{"POST", "/v1/takeoffs:streamCompute"}, {"POST", "/v1/windLimits:compute"}, {"POST", "/v1/cycles:plan"},
	{"GET", "/v1/aircraftTypes"}, {"GET", "/v1/aircraftTypes/heron"}, {"GET", "/v1/sites/cape/decks/main"},
	{"GET", "/v1/model"}, {"GET", "/v1/model:check"},
}

func TestPreflightsAreAnsweredOnEveryRoute(t *testing.T) {
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{}}, func(c *server.Config) {
		c.Origins = []string{"https://plans.example"}
	})
	for _, p := range paths {
		good := h.do(t, http.MethodOptions, p.path, "", "Origin", "https://plans.example", "Access-Control-Request-Method", p.method)
		if good.code != 204 || good.header.Get("Access-Control-Allow-Origin") != "https://plans.example" ||
			!strings.Contains(good.header.Get("Access-Control-Allow-Methods"), p.method) ||
			!strings.Contains(good.header.Get("Access-Control-Allow-Headers"), "Content-Type") {
			t.Errorf("%s: %d %v", p.path, good.code, good.header)
		}
		bad := h.do(t, http.MethodOptions, p.path, "", "Origin", "https://else.example", "Access-Control-Request-Method", p.method)
		if bad.code != 403 || bad.header.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s from elsewhere: %d %v", p.path, bad.code, bad.header)
		}
	}
	got := h.do(t, "GET", "/v1/nothing", "", "Origin", "https://plans.example")
	if exposed := got.header.Get("Access-Control-Expose-Headers"); !strings.Contains(exposed, "ETag") || !strings.Contains(exposed, "Retry-After") {
		t.Errorf("exposes %q", exposed)
	}
	if got.header.Get("Vary") != "Origin" {
		t.Error("an answer that depends on the origin does not say so")
	}
}

func TestPathsThatStandForNothing(t *testing.T) {
	h := serveFake(t, nil)
	for _, c := range []struct {
		method, path, body string
		httpCode           int
		code, field, hint  string
	}{
		{"POST", "/v1/takeoff:compute", "{}", 404, "NOT_FOUND", "path known", "did you mean /v1/takeoffs:compute?"},
		{"GET", "/", "", 404, "NOT_FOUND", "path known", ""},
		{"GET", "/v1/../etc/passwd", "", 404, "NOT_FOUND", "path known", ""},
		{"GET", "/v1/takeoffs:compute", "", 405, "UNIMPLEMENTED", "method known", "POST"},
	} {
		got := h.do(t, c.method, c.path, c.body)
		code, fields := got.refused(t)
		if got.code != c.httpCode || code != c.code || !slices.Equal(fields, []string{c.field}) || !strings.Contains(got.text, c.hint) {
			t.Errorf("%s %s: %d %s", c.method, c.path, got.code, got.text)
		}
	}
	if allow := h.do(t, "GET", "/v1/takeoffs:compute", "").header.Get("Allow"); allow != "POST" {
		t.Errorf("allows %q", allow)
	}
}

func TestBodiesInAnotherFormAreRefused(t *testing.T) {
	h := serveFake(t, nil)
	for _, c := range []struct {
		name    string
		headers []string
		field   string
	}{
		{"a form", []string{"Content-Type", "application/x-www-form-urlencoded"}, "Content-Type known"},
		{"plain text", []string{"Content-Type", "text/plain"}, "Content-Type known"},
		{"another charset", []string{"Content-Type", "application/json; charset=latin1"}, "Content-Type known"},
		{"a compressed body", []string{"Content-Encoding", "gzip"}, "Content-Encoding known"},
	} {
		got := h.post(t, "/v1/takeoffs:compute", requestJSON, c.headers...)
		if _, fields := got.refused(t); got.code != 415 || !slices.Equal(fields, []string{c.field}) {
			t.Errorf("%s: %d %s", c.name, got.code, got.text)
		}
	}
}

func TestTextThatIsNotJSON(t *testing.T) {
	h := serveFake(t, nil)
	for _, text := range []string{`{"case":`, `[]`, `{"case":{}} trailing`, "\x00", `nul`, strings.Repeat("[", 100000)} {
		got := h.post(t, "/v1/takeoffs:compute", text)
		code, fields := got.refused(t)
		if got.code != 400 || code != "INVALID_ARGUMENT" || !slices.Equal(fields, []string{" json"}) || !strings.Contains(got.text, "line 1") {
			t.Errorf("%.40q: %d %s", text, got.code, got.text)
		}
	}
}

func TestQueriesAreStrict(t *testing.T) {
	h := start(t, server.Services{Catalog: bowrollv1.UnimplementedCatalogServer{}, Takeoffs: &fakeTakeoffs{}}, nil)
	for _, c := range []struct{ method, path, field string }{
		{"GET", "/v1/sites?page_sise=3", "page_sise known"},
		{"GET", "/v1/sites?pageSize=3", "pageSize known"},
		{"GET", "/v1/sites?page_size=many", "page_size type"},
		{"GET", "/v1/sites?page_size=1&page_size=2", "page_size once"},
		{"GET", "/v1/sites/cape?name=sites/other", "name known"},
		{"GET", "/v1/sites?%zz", "query format"},
		{"POST", "/v1/takeoffs:compute?case.id=a", "case.id known"},
		// With what the rules say of the rest.
		{"GET", "/v1/sites?page_sise=3&page_size=-1", "page_sise known, page_size range"},
		{"GET", "/v1/sites/CAPE?name=sites/other", "name known"},
		{"GET", "/v1/sites/CAPE?nam=sites/other", "nam known, name pattern"},
	} {
		got := h.do(t, c.method, c.path, "")
		if _, fields := got.refused(t); got.code != 400 || strings.Join(fields, ", ") != c.field {
			t.Errorf("%s: %d %s", c.path, got.code, got.text)
		}
	}
	if got := h.do(t, "GET", "/v1/sites?page_size=3&page_token=x", ""); got.code != 501 {
		t.Errorf("a good query is refused: %d %s", got.code, got.text)
	}
}

func TestATimeThatCannotBeReadIsRefused(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return &bowrollv1.Takeoff{}, nil
	})
	for sent, good := range map[string]bool{"20S": true, "500m": true, "20": false, "S": false, "-1S": false, "123456789S": false, "20s": false, "1S ": true} {
		got := h.do(t, "POST", "/v1/takeoffs:compute", requestJSON, "Content-Type", "application/json", "Grpc-Timeout", sent)
		if good && got.code != 200 || !good && (got.code != 400 || !strings.Contains(got.text, `"field":"Grpc-Timeout"`)) {
			t.Errorf("%q: %d %s", sent, got.code, got.text)
		}
	}
}

func TestOnlyNamedHeadersReachTheService(t *testing.T) {
	h := serveFake(t, func(ctx context.Context, _ *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return &bowrollv1.Takeoff{Id: strings.Join(keysOf(ctx), " ")}, nil
	})
	got := h.post(t, "/v1/takeoffs:compute", requestJSON, "Grpc-Metadata-X-Identity", "admiral", "X-Identity", "admiral",
		"Traceparent", "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01")
	seen := got.body(t)["id"].(string)
	if strings.Contains(seen, "identity") || !strings.Contains(seen, "traceparent") {
		t.Errorf("the service sees %s", seen)
	}
}

func TestProbes(t *testing.T) {
	h := serveFake(t, nil)
	for _, path := range []string{"/healthz", "/readyz"} {
		if got := h.do(t, "GET", path, ""); got.code != 200 || !strings.Contains(got.text, "SERVING") {
			t.Errorf("%s: %d %s", path, got.code, got.text)
		}
	}
}

func TestAnswersShowEveryField(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return &bowrollv1.Takeoff{RunM: proto.Float64(0), Cautions: nil}, nil
	})
	got := h.post(t, "/v1/takeoffs:compute", requestJSON)
	m := got.body(t)
	if m["run_m"] != 0.0 || m["margin_m"] != nil || m["air"] != nil || len(m["cautions"].([]any)) != 0 || m["limiting"] != "" {
		t.Errorf("got %s", got.text)
	}
	fields := (&bowrollv1.Takeoff{}).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if _, shown := m[string(fields.Get(i).Name())]; !shown {
			t.Errorf("%s is not shown", fields.Get(i).Name())
		}
	}
	if len(m) != fields.Len() {
		t.Errorf("%d keys for %d fields", len(m), fields.Len())
	}
	if got.header.Get("Content-Type") != "application/json" {
		t.Error(got.header)
	}
}

func TestAGatewayErrorIsNeverHTML(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return nil, errors.New("<script>")
	})
	got := h.post(t, "/v1/takeoffs:compute", requestJSON)
	if got.header.Get("Content-Type") != "application/json" || got.header.Get("X-Content-Type-Options") != "nosniff" || strings.Contains(got.text, "script") {
		t.Errorf("%v %s", got.header, got.text)
	}
}

func TestRequestsThatReachNoServiceAreCounted(t *testing.T) {
	h := serveFake(t, nil)
	h.do(t, "GET", "/v1/nothing", "")
	h.do(t, "BREW", "/v1/takeoffs:compute", "")
	if err := testutil.GatherAndCompare(h.registry, strings.NewReader(`
# HELP bowroll_http_requests_total Requests to the gateway, by method and HTTP status.
# TYPE bowroll_http_requests_total counter
bowroll_http_requests_total{code="404",method="GET"} 1
bowroll_http_requests_total{code="405",method="other"} 1
`), "bowroll_http_requests_total"); err != nil {
		t.Error(err)
	}
}
