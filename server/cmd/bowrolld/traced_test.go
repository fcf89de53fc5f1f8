package main

import (
	"context"
	"encoding/hex"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	traces "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/grpc"
)

// collecting takes traces and hands them on.
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

// TestACallIsTracedFromItsCallerOn sends a JSON request that is part of a trace.
func TestACallIsTracedFromItsCallerOn(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	sink := &collecting{spans: make(chan *traces.Span, 16)}
	g := grpc.NewServer()
	collector.RegisterTraceServiceServer(g, sink)
	go func() { _ = g.Serve(l) }()
	defer g.Stop()

	address, _, stop := serving(t, "--traces", "http://"+l.Addr().String(), "--trace-share", "0")
	r, err := http.NewRequest(http.MethodGet, "http://"+address+"/v1/aircraftTypes", nil)
	if err != nil {
		t.Fatal(err)
	}
	const id = "4bf92f3577b34da6a3ce929d0e0e4736"
	r.Header.Set("Traceparent", "00-"+id+"-00f067aa0ba902b7-01")
	r.Header.Set("Authorization", "Bearer canary-of-a-token")
	client := &http.Client{Transport: &http.Transport{}}
	answer, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	answer.Body.Close()
	client.CloseIdleConnections()
	stop() // sends what is left
	select {
	case span := <-sink.spans:
		if hex.EncodeToString(span.GetTraceId()) != id || span.GetName() != "bowroll.v1.Catalog/ListAircraftTypes" {
			t.Errorf("%v", span)
		}
		if strings.Contains(span.String(), "canary") {
			t.Errorf("a secret is in the trace: %v", span)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("no trace came")
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
