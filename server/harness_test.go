package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/goleak"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/refusal"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// screen is compiled once; it is safe for concurrent use.
func screen(t testing.TB) *refusal.Screen {
	t.Helper()
	s, err := refusal.NewScreen(server.Contract()...)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fakeTakeoffs answers as its functions say.
type fakeTakeoffs struct {
	bowrollv1.UnimplementedTakeoffsServer
	compute func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error)
	stream  func(grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error
}

func (f *fakeTakeoffs) Compute(ctx context.Context, req *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
	return f.compute(ctx, req)
}

func (f *fakeTakeoffs) StreamCompute(s grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error {
	return f.stream(s)
}

// harness is a server with its gateway on a real connection and what it logged
// and counted.
type harness struct {
	server   *server.Server
	takeoffs bowrollv1.TakeoffsClient
	conn     *grpc.ClientConn
	url      string
	client   *http.Client
	logs     *observer.ObservedLogs
	registry *prometheus.Registry
}

func start(t *testing.T, services server.Services, change func(*server.Config)) *harness {
	t.Helper()
	core, logs := observer.New(zap.DebugLevel)
	registry := prometheus.NewRegistry()
	ids := make(chan int, 1)
	ids <- 1
	config := server.Config{
		Log: zap.New(core), Registry: registry, Screen: screen(t), Cores: 1, Grace: time.Second,
		// What else this machine has to do changes no limit.
		Pressure: func() time.Duration { return 0 },
		NewID:    func() string { n := <-ids; ids <- n + 1; return fmt.Sprintf("made-%d", n) },
	}
	if change != nil {
		change(&config)
	}
	s, err := server.New(config, services)
	if err != nil {
		t.Fatal(err)
	}
	h := around(t, s)
	h.logs, h.registry = logs, registry
	return h
}

// around puts a gateway on a real connection around s and ends both with t.
func around(t *testing.T, s *server.Server) *harness {
	t.Helper()
	h, end := served(t, s)
	t.Cleanup(end)
	return h
}

// served puts a gateway on a real connection around s, and returns with it what
// ends both.
func served(t *testing.T, s *server.Server) (*harness, func()) {
	t.Helper()
	conn, err := s.Connect()
	if err != nil {
		t.Fatal(err)
	}
	web := httptest.NewServer(s.Handler())
	h := &harness{
		server: s, conn: conn, takeoffs: bowrollv1.NewTakeoffsClient(conn), url: web.URL, client: web.Client(),
	}
	return h, func() {
		h.client.CloseIdleConnections()
		web.Close()
		if err := conn.Close(); err != nil {
			t.Error(err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

// answer is an HTTP answer read to its end.
type answer struct {
	code   int
	header http.Header
	text   string
}

// body decodes a JSON object.
func (a answer) body(t *testing.T) map[string]any {
	t.Helper()
	var m map[string]any
	if err := json.Unmarshal([]byte(a.text), &m); err != nil {
		t.Fatalf("%v: %s", err, a.text)
	}
	return m
}

// refused decodes the error body.
func (a answer) refused(t *testing.T) (code string, fields []string) {
	t.Helper()
	var e struct {
		Code, Message string
		Violations    []struct{ Field, Rule string }
	}
	decoder := json.NewDecoder(strings.NewReader(a.text))
	if err := decoder.Decode(&e); err != nil || e.Message == "" {
		t.Fatalf("no error body: %v: %s", err, a.text)
	}
	for _, v := range e.Violations {
		fields = append(fields, v.Field+" "+v.Rule)
	}
	return e.Code, fields
}

func (h *harness) do(t *testing.T, method, path, body string, headers ...string) answer {
	t.Helper()
	req, err := http.NewRequest(method, h.url+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := h.client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer{resp.StatusCode, resp.Header, string(text)}
}

func (h *harness) post(t *testing.T, path, body string, headers ...string) answer {
	t.Helper()
	return h.do(t, http.MethodPost, path, body, headers...)
}

// violations returns "field rule" of each violation that err carries.
func violations(err error) []string {
	var list []string
	for _, v := range refusal.Status(err).GetViolations() {
		list = append(list, v.GetField()+" "+v.GetRule())
	}
	return list
}

func wantCode(t *testing.T, err error, code codes.Code) {
	t.Helper()
	if status.Code(err) != code {
		t.Fatalf("got %v, want %v", err, code)
	}
	if err != nil && refusal.Reason(err) == "" {
		t.Errorf("%v has no ErrorInfo", err)
	}
}

// dial connects over the network.
func dial(t *testing.T, address string) *grpc.ClientConn {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	return conn
}
