package server_test

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/refusal"
)

// request is one that the screen lets through; the fakes judge nothing.
func request() *bowrollv1.TakeoffsComputeRequest {
	return &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{Id: "a"}}
}

const requestJSON = `{"case":{"id":"a"}}`

func serveFake(t *testing.T, compute func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error)) *harness {
	t.Helper()
	return start(t, server.Services{Takeoffs: &fakeTakeoffs{compute: compute}}, nil)
}

func TestAPanicIsHiddenCountedAndLogged(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		panic("password=swordfish")
	})
	_, err := h.takeoffs.Compute(context.Background(), request())
	wantCode(t, err, codes.Internal)
	if strings.Contains(err.Error(), "swordfish") || !strings.Contains(err.Error(), "made-1") {
		t.Errorf("the caller sees %v", err)
	}
	web := h.post(t, "/v1/takeoffs:compute", requestJSON)
	if code, _ := web.refused(t); web.code != 500 || code != "INTERNAL" || strings.Contains(web.text, "swordfish") {
		t.Errorf("the caller sees %d %s", web.code, web.text)
	}
	lines := h.logs.FilterMessage("call").All()
	if len(lines) != 2 {
		t.Fatalf("%d lines logged", len(lines))
	}
	fields := lines[0].ContextMap()
	if fields["request_id"] != "made-1" || !strings.Contains(fields["cause"].(string), "swordfish") || fields["stack"] == nil {
		t.Errorf("logged %v", fields)
	}
	if err := testutil.GatherAndCompare(h.registry, strings.NewReader(`
# HELP bowroll_rpc_panics_total Calls that panicked. Each is a bug.
# TYPE bowroll_rpc_panics_total counter
bowroll_rpc_panics_total 2
`), "bowroll_rpc_panics_total"); err != nil {
		t.Error(err)
	}
	if got := h.endings(t, "INTERNAL"); got["Takeoffs/Compute"] != 2 {
		t.Errorf("counted %v", got)
	}
}

// A first fault is seen to rise from none.
func TestFaultsOfEveryMethodAreCountedFromTheStart(t *testing.T) {
	got := start(t, server.Services{}, nil).endings(t, "INTERNAL")
	for _, service := range server.Contract() {
		for i := range service.Methods().Len() {
			name := string(service.Name()) + "/" + string(service.Methods().Get(i).Name())
			if count, counted := got[name]; !counted || count != 0 {
				t.Errorf("%s: %v, counted: %v", name, count, counted)
			}
		}
	}
}

// endings returns how many calls of each method, "Service/Method", ended with
// code, of those that are counted.
func (h *harness) endings(t *testing.T, code string) map[string]float64 {
	t.Helper()
	families, err := h.registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]float64{}
	for _, family := range families {
		if family.GetName() != "bowroll_rpc_handled_total" {
			continue
		}
		for _, m := range family.GetMetric() {
			labels := map[string]string{}
			for _, l := range m.GetLabel() {
				labels[l.GetName()] = l.GetValue()
			}
			if labels["code"] == code {
				found[strings.TrimPrefix(labels["service"], server.Package+".")+"/"+labels["method"]] = m.GetCounter().GetValue()
			}
		}
	}
	return found
}

func TestAnErrorOfNoKnownKindIsHidden(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return nil, errors.New("disk: /var/secret is full")
	})
	_, err := h.takeoffs.Compute(context.Background(), request())
	wantCode(t, err, codes.Internal)
	if strings.Contains(err.Error(), "secret") {
		t.Errorf("the caller sees %v", err)
	}
	if cause := h.logs.All()[0].ContextMap()["cause"]; cause != "disk: /var/secret is full" {
		t.Errorf("logged %v", cause)
	}
}

func TestANumberWithoutJSONFormIsAnErrorAndNotATruncatedAnswer(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return &bowrollv1.Takeoff{RunM: proto.Float64(math.NaN())}, nil
	})
	web := h.post(t, "/v1/takeoffs:compute", requestJSON)
	if code, _ := web.refused(t); web.code != 500 || code != "INTERNAL" {
		t.Errorf("got %d %s", web.code, web.text)
	}
}

func TestRequestIDs(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return &bowrollv1.Takeoff{}, nil
	})
	for sent, want := range map[string]string{"plan-7.b": "plan-7.b", "no spaces": "made-", "": "made-", strings.Repeat("x", 65): "made-"} {
		var header metadata.MD
		ctx := context.Background()
		if sent != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, "x-request-id", sent)
		}
		if _, err := h.takeoffs.Compute(ctx, request(), grpc.Header(&header)); err != nil {
			t.Fatal(err)
		}
		if got := header.Get("x-request-id"); len(got) != 1 || !strings.HasPrefix(got[0], want) {
			t.Errorf("sent %q, got %q", sent, got)
		}
		web := h.post(t, "/v1/takeoffs:compute", requestJSON, "X-Request-Id", sent)
		if got := web.header.Get("X-Request-Id"); !strings.HasPrefix(got, want) {
			t.Errorf("sent %q over HTTP, got %q", sent, got)
		}
	}
}

func TestTheDeadlineOfTheClassHolds(t *testing.T) {
	left := make(chan time.Duration, 1)
	h := serveFake(t, func(ctx context.Context, _ *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		deadline, ok := ctx.Deadline()
		if !ok {
			return nil, errors.New("no deadline")
		}
		left <- time.Until(deadline)
		<-ctx.Done()
		return nil, ctx.Err()
	})
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	_, err := h.takeoffs.Compute(ctx, request())
	// The client may give up before the service's answer comes.
	if got := refusal.Status(err).GetCode(); got != "DEADLINE_EXCEEDED" {
		t.Errorf("got %v", err)
	}
	if d := <-left; d > 50*time.Millisecond {
		t.Errorf("the caller's deadline became %v", d)
	}
	web := h.post(t, "/v1/takeoffs:compute", requestJSON, "Grpc-Timeout", "50m")
	if code, _ := web.refused(t); web.code != 504 || code != "DEADLINE_EXCEEDED" {
		t.Errorf("got %d %s", web.code, web.text)
	}
	<-left
	done := make(chan struct{})
	ctx, cancel = context.WithCancel(context.Background())
	go func() {
		defer close(done)
		_, _ = h.takeoffs.Compute(ctx, request())
	}()
	if d := <-left; d > 30*time.Second || d < 25*time.Second {
		t.Errorf("without a deadline of its own a call has %v", d)
	}
	cancel()
	<-done
}

func TestWhatIsTooMuchIsRefusedAtOnce(t *testing.T) {
	const places = 64
	entered, release := make(chan struct{}, places), make(chan struct{})
	h := serveFake(t, func(ctx context.Context, _ *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		entered <- struct{}{}
		<-release
		return &bowrollv1.Takeoff{}, nil
	})
	ended := make(chan error, places)
	for range places {
		go func() {
			_, err := h.takeoffs.Compute(context.Background(), request())
			ended <- err
		}()
	}
	for range places {
		<-entered
	}
	_, err := h.takeoffs.Compute(context.Background(), request())
	wantCode(t, err, codes.ResourceExhausted)
	if wait, ok := refusal.Retry(err); !ok || wait <= 0 {
		t.Errorf("%v asks for no wait", err)
	}
	web := h.post(t, "/v1/takeoffs:compute", requestJSON)
	if code, _ := web.refused(t); web.code != 429 || code != "RESOURCE_EXHAUSTED" || web.header.Get("Retry-After") != "1" {
		t.Errorf("got %d %s %v", web.code, web.text, web.header)
	}
	if ready := h.do(t, "GET", "/readyz", ""); ready.code != 200 {
		t.Errorf("a full service is not ready: %s", ready.text)
	}
	close(release)
	for range places {
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
	if _, err := h.takeoffs.Compute(context.Background(), request()); err != nil {
		t.Errorf("places were not given back: %v", err)
	}
}

func TestTheScreenHoldsOnBothTransports(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		t.Error("a refused request reached the service")
		return nil, errors.New("reached")
	})
	req := request()
	req.Sections = []bowrollv1.Section{0}
	req.Case.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 999, protowire.VarintType), 1))
	req.Case.GrossMassKg = proto.Float64(math.Inf(1))
	_, err := h.takeoffs.Compute(context.Background(), req)
	wantCode(t, err, codes.InvalidArgument)
	got := violations(err)
	for _, want := range []string{"sections[0] enum", "case.999 known", "case.gross_mass_kg finite", "case.air required"} {
		if !slices.Contains(got, want) {
			t.Errorf("%q is not in %q", want, got)
		}
	}
	web := h.post(t, "/v1/takeoffs:compute", `{"case":{"gross_mass_kg":"NaN","headwnd_mps":3},"sections":["SECTION_UNSPECIFIED"]}`)
	code, fields := web.refused(t)
	if web.code != 400 || code != "INVALID_ARGUMENT" {
		t.Errorf("got %d %s", web.code, web.text)
	}
	for _, want := range []string{"sections[0] enum", "case.gross_mass_kg type", "case.headwnd_mps known", "case.air required"} {
		if !slices.Contains(fields, want) {
			t.Errorf("%q is not in %q", want, fields)
		}
	}
}

func TestALargeRequestIsRefusedWithTheWayRound(t *testing.T) {
	h := serveFake(t, func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		return nil, errors.New("reached")
	})
	req := request()
	req.Case.Spot = strings.Repeat("s", 2<<20)
	_, err := h.takeoffs.Compute(context.Background(), req)
	wantCode(t, err, codes.InvalidArgument)
	if refusal.Reason(err) != refusal.ReasonTooLarge || !strings.Contains(err.Error(), "stream") {
		t.Errorf("got %v", err)
	}
	long := `{"case":{"spot":"` + req.Case.Spot + `"}}`
	web := h.post(t, "/v1/takeoffs:compute", long)
	if code, _ := web.refused(t); web.code != 413 || code != "INVALID_ARGUMENT" || !strings.Contains(web.text, "stream") {
		t.Errorf("got %d %.200s", web.code, web.text)
	}
}

func TestEveryMethodHasAClass(t *testing.T) {
	// New refuses a service with a method that has none; all that the contract
	// has are served here.
	h := start(t, server.Services{
		Takeoffs: bowrollv1.UnimplementedTakeoffsServer{}, WindLimits: bowrollv1.UnimplementedWindLimitsServer{},
		Cycles: bowrollv1.UnimplementedCyclesServer{}, Catalog: bowrollv1.UnimplementedCatalogServer{},
		Model: bowrollv1.UnimplementedModelServer{},
	}, nil)
	_, err := bowrollv1.NewModelClient(h.conn).GetModel(context.Background(), &bowrollv1.GetModelRequest{})
	wantCode(t, err, codes.Unimplemented)
}
