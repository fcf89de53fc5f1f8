package server_test

import (
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// running runs a server on free ports until stop is called.
func running(t *testing.T, fake *fakeTakeoffs, grace time.Duration) (at server.Addresses, stop func() error) {
	t.Helper()
	s, err := server.New(server.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0", Reflection: true,
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t), Grace: grace,
		NewID: func() string { return "id" },
	}, server.Services{Takeoffs: fake})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan server.Addresses, 1), make(chan error, 1)
	go func() { ended <- s.Run(ctx, func(a server.Addresses) { ready <- a }) }()
	select {
	case at = <-ready:
	case err := <-ended:
		cancel()
		t.Fatal(err)
	}
	return at, func() error { cancel(); return <-ended }
}

func TestRunServesEveryListenerAndStops(t *testing.T) {
	at, stop := running(t, &fakeTakeoffs{compute: func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return &bowrollv1.Takeoff{Id: "a"}, nil
	}}, time.Second)
	conn := dial(t, at.GRPC)
	defer conn.Close()
	if _, err := bowrollv1.NewTakeoffsClient(conn).Compute(context.Background(), request()); err != nil {
		t.Error(err)
	}
	health, err := healthpb.NewHealthClient(conn).Check(context.Background(), &healthpb.HealthCheckRequest{})
	if err != nil || health.GetStatus() != healthpb.HealthCheckResponse_SERVING {
		t.Error(health, err)
	}
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	for url, phrase := range map[string]string{
		"http://" + at.HTTP + "/readyz":               "SERVING",
		"http://" + at.Admin + "/metrics":             `bowroll_rpc_handled_total{code="OK",method="Compute"`,
		"http://" + at.Admin + "/debug/pprof/":        "goroutine",
		"http://" + at.HTTP + "/metrics":              "NOT_FOUND",
		"http://" + at.HTTP + "/debug/pprof/":         "NOT_FOUND",
		"http://" + at.HTTP + "/debug/pprof/heap?x=1": "NOT_FOUND",
	} {
		resp, err := client.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil || !strings.Contains(string(text), phrase) {
			t.Errorf("%s: %s %v", url, text, err)
		}
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	_, err = bowrollv1.NewTakeoffsClient(conn).Compute(context.Background(), request())
	if status.Code(err) != codes.Unavailable {
		t.Errorf("after the end: %v", err)
	}
}

func TestShutdownWaitsForCallsInHand(t *testing.T) {
	entered, release := make(chan struct{}, 2), make(chan struct{})
	at, stop := running(t, &fakeTakeoffs{compute: func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		entered <- struct{}{}
		<-release
		return &bowrollv1.Takeoff{Id: "kept"}, nil
	}}, 5*time.Second)
	conn := dial(t, at.GRPC)
	defer conn.Close()
	overGRPC, overHTTP := make(chan string, 1), make(chan string, 1)
	go func() {
		answer, err := bowrollv1.NewTakeoffsClient(conn).Compute(context.Background(), request())
		if err != nil {
			overGRPC <- err.Error()
			return
		}
		overGRPC <- answer.GetId()
	}()
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	go func() {
		resp, err := client.Post("http://"+at.HTTP+"/v1/takeoffs:compute", "application/json", strings.NewReader(requestJSON))
		if err != nil {
			overHTTP <- err.Error()
			return
		}
		defer resp.Body.Close()
		text, _ := io.ReadAll(resp.Body)
		overHTTP <- string(text)
	}()
	<-entered
	<-entered
	stopped := make(chan error, 1)
	go func() { stopped <- stop() }()
	time.Sleep(50 * time.Millisecond) // let the shutdown begin
	close(release)
	if got := <-overGRPC; got != "kept" {
		t.Errorf("over gRPC: %s", got)
	}
	if got := <-overHTTP; !strings.Contains(got, `"id":"kept"`) {
		t.Errorf("over HTTP: %s", got)
	}
	if err := <-stopped; err != nil {
		t.Error(err)
	}
}

func TestShutdownEndsWhatOutlastsTheGrace(t *testing.T) {
	entered := make(chan struct{}, 1)
	at, stop := running(t, &fakeTakeoffs{compute: func(ctx context.Context, _ *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		entered <- struct{}{}
		<-ctx.Done()
		return nil, ctx.Err()
	}}, 100*time.Millisecond)
	conn := dial(t, at.GRPC)
	defer conn.Close()
	ended := make(chan error, 1)
	go func() {
		_, err := bowrollv1.NewTakeoffsClient(conn).Compute(context.Background(), request())
		ended <- err
	}()
	<-entered
	if err := stop(); err != nil {
		t.Error(err)
	}
	if err := <-ended; err == nil {
		t.Error("the call did not end")
	}
}

func TestAnAddressInUseIsAnError(t *testing.T) {
	at, stop := running(t, &fakeTakeoffs{}, time.Second)
	s, err := server.New(server.Config{
		GRPCAddress: at.GRPC, Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t),
		NewID: func() string { return "id" },
	}, server.Services{})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Run(context.Background(), nil); err == nil || !strings.Contains(err.Error(), at.GRPC) {
		t.Errorf("got %v", err)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
}
