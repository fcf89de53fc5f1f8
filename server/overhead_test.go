package server_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"

	"google.golang.org/protobuf/encoding/protojson"
)

func benchServer(b *testing.B) *server.Server {
	b.Helper()
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		b.Fatal(err)
	}
	s, err := assembly.New(server.Config{
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(b), Cores: 1, NewID: assembly.NewID,
	}, folder)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = s.Close() })
	return s
}

func BenchmarkComputeInMemory(b *testing.B) {
	s := benchServer(b)
	conn, err := s.Connect()
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	client := bowrollv1.NewTakeoffsClient(conn)
	req := &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{}}
	if err := protojson.Unmarshal([]byte(caseJSON), req.Case); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := client.Compute(context.Background(), req); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkComputeJSON(b *testing.B) {
	s := benchServer(b)
	b.ReportAllocs()
	for b.Loop() {
		req := httptest.NewRequest(http.MethodPost, "/v1/takeoffs:compute", strings.NewReader(`{"case":`+caseJSON+`}`))
		req.Header.Set("Content-Type", "application/json")
		got := httptest.NewRecorder()
		s.Handler().ServeHTTP(got, req)
		if got.Code != http.StatusOK {
			b.Fatal(got.Body)
		}
	}
}
