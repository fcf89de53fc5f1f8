package main

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"strings"
	"testing"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	traces "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/grpc"

	"bowroll/server/examples"
)

// collecting takes traces and keeps them.
type collecting struct {
	collector.UnimplementedTraceServiceServer
	spans chan *traces.Span
}

func (c *collecting) Export(_ context.Context, r *collector.ExportTraceServiceRequest) (*collector.ExportTraceServiceResponse, error) {
	for _, resource := range r.GetResourceSpans() {
		for _, scope := range resource.GetScopeSpans() {
			for _, span := range scope.GetSpans() {
				c.spans <- span
			}
		}
	}
	return &collector.ExportTraceServiceResponse{}, nil
}

// tree writes spans one a line, each under the one that it is part of, those of
// one parent in the order in which they began.
func tree(spans []*traces.Span, parent, indent string) string {
	var out strings.Builder
	for _, span := range spans {
		if hex.EncodeToString(span.GetParentSpanId()) == parent {
			name := strings.TrimPrefix(strings.ToLower(strings.TrimPrefix(span.GetKind().String(), "SPAN_KIND_"))+" "+span.GetName(), "internal ")
			fmt.Fprintf(&out, "%s%s\n%s", indent, name, tree(spans, hex.EncodeToString(span.GetSpanId()), indent+"\t"))
		}
	}
	return out.String()
}

// worked is the worked call of a method, which refers to no earlier answer, as
// the gateway takes it.
func worked(t *testing.T, name string) examples.HTTP {
	t.Helper()
	calls, err := examples.All()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(calls, func(c examples.Call) bool { return c.Method == name })
	request, err := calls[i].Resolved(nil)
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(request)
	if err != nil {
		t.Fatal(err)
	}
	return examples.HTTP{Verb: http.MethodPost, Body: string(body)}
}

// TestARequestIsTracedFromItsCallerOn sends JSON requests that are part of a
// trace, each by itself to a service that begins no traces of its own.
func TestARequestIsTracedFromItsCallerOn(t *testing.T) {
	const id, above = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
	at := func(path string, call examples.HTTP) examples.HTTP {
		call.Path = path
		return call
	}
	for _, test := range []struct {
		call examples.HTTP
		want []string
	}{
		{examples.HTTP{Verb: http.MethodGet, Path: "/v1/aircraftTypes"}, []string{
			"server GET", "\tclient bowroll.v1.Catalog/ListAircraftTypes", "\t\tserver bowroll.v1.Catalog/ListAircraftTypes",
		}},
		{examples.HTTP{Verb: http.MethodGet, Path: "/v1/sites/varrow/lots"}, []string{
			"server GET", "\tclient bowroll.v1.Stock/ListLots", "\t\tserver bowroll.v1.Stock/ListLots", "\t\t\tstore.view",
		}},
		{at("/v1/cycles:plan", worked(t, "Cycles.Plan")), []string{
			"server POST", "\tclient bowroll.v1.Cycles/Plan", "\t\tserver bowroll.v1.Cycles/Plan", "\t\t\tfits", "\t\t\tallocation", "\t\t\tanswer", "\t\t\tprices", "\t\t\t\tfits",
		}},
		{at("/v1/cycles:planStream", worked(t, "Cycles.Plan")), []string{
			"server POST", "\tclient bowroll.v1.Cycles/PlanStream", "\t\tserver bowroll.v1.Cycles/PlanStream", "\t\t\tfits", "\t\t\tallocation", "\t\t\tanswer", "\t\t\tprices", "\t\t\t\tfits",
		}},
		{examples.HTTP{Verb: http.MethodGet, Path: "/healthz"}, nil},
		{examples.HTTP{Verb: http.MethodGet, Path: "/readyz"}, nil},
	} {
		t.Run(strings.ReplaceAll(strings.Trim(test.call.Path, "/"), "/", "_"), func(t *testing.T) {
			l, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				t.Fatal(err)
			}
			sink := &collecting{spans: make(chan *traces.Span, 64)}
			g := grpc.NewServer()
			collector.RegisterTraceServiceServer(g, sink)
			go func() { _ = g.Serve(l) }()
			defer g.Stop()
			address, _, stop := serving(t, "--store", t.TempDir()+"/bowroll.db", "--traces", "http://"+l.Addr().String(), "--trace-share", "0")
			r, err := http.NewRequest(test.call.Verb, "http://"+address+test.call.Path, strings.NewReader(test.call.Body))
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Traceparent", "00-"+id+"-"+above+"-01")
			r.Header.Set("Authorization", "Bearer canary-of-a-token")
			r.Header.Set("Content-Type", "application/json")
			client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
			answer, err := client.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			text, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if err != nil || answer.StatusCode != http.StatusOK {
				t.Fatalf("%s: %s: %v", answer.Status, text, err)
			}
			stop() // sends what is left
			close(sink.spans)
			var spans []*traces.Span
			for span := range sink.spans {
				if hex.EncodeToString(span.GetTraceId()) != id {
					t.Errorf("of another trace: %v", span)
				}
				if strings.Contains(span.String(), "canary") {
					t.Errorf("a secret is in the trace: %v", span)
				}
				spans = append(spans, span)
			}
			slices.SortFunc(spans, func(a, b *traces.Span) int { return int(a.GetStartTimeUnixNano()) - int(b.GetStartTimeUnixNano()) })
			want := strings.Join(test.want, "\n")
			if got := strings.TrimSuffix(tree(spans, above, ""), "\n"); got != want || len(spans) != len(test.want) {
				t.Errorf("%d spans:\n%s\nwant\n%s", len(spans), got, want)
			}
		})
	}
}

func TestWhereTracesMayGo(t *testing.T) {
	for address, good := range map[string]bool{
		"https://collector.example:4317": true, "http://127.0.0.1:4317": true, "http://localhost:4317": true,
		"http://collector.example:4317": false, "collector.example:4317": false, "https://u:p@collector.example": false, "ftp://127.0.0.1": false,
	} {
		code, _, errs := program(t, nil, "config", "check", "--traces", address)
		if (code == 0) != good || !good && !strings.Contains(errs, "--traces is") {
			t.Errorf("%s: exit %d: %s", address, code, errs)
		}
	}
	if code, _, errs := program(t, nil, "config", "check", "--trace-share", "2"); code != 2 || !strings.Contains(errs, "--trace-share") {
		t.Errorf("exit %d: %s", code, errs)
	}
}
