package gather_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	"bowroll/client"
	"bowroll/client/gather"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A service sends what a test says.
type service struct {
	bowrollv1.UnimplementedCyclesServer
	bowrollv1.UnimplementedModelServer
	bowrollv1.UnimplementedSweepsServer
	rows   []*bowrollv1.ReadSweepResponse
	stream []*bowrollv1.CyclesPlanStreamResponse
	err    error // ends the stream, and answers GetModel
	model  string
}

func (s *service) PlanStream(_ *bowrollv1.CyclesPlanRequest, to grpc.ServerStreamingServer[bowrollv1.CyclesPlanStreamResponse]) error {
	for _, m := range s.stream {
		if err := to.Send(m); err != nil {
			return err
		}
	}
	return s.err
}

func (s *service) ReadSweep(_ *bowrollv1.ReadSweepRequest, to grpc.ServerStreamingServer[bowrollv1.ReadSweepResponse]) error {
	for _, m := range s.rows {
		if err := to.Send(m); err != nil {
			return err
		}
	}
	return s.err
}

func (s *service) GetModel(context.Context, *bowrollv1.GetModelRequest) (*bowrollv1.ModelInfo, error) {
	return &bowrollv1.ModelInfo{Provenance: &bowrollv1.Provenance{ModelVersion: s.model}}, s.err
}

// failing is a writer that always fails.
type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// dial serves s over memory and connects to it.
func dial(t *testing.T, s *service) *client.Client {
	t.Helper()
	listener, server := bufconn.Listen(1<<16), grpc.NewServer()
	bowrollv1.RegisterCyclesServer(server, s)
	bowrollv1.RegisterModelServer(server, s)
	bowrollv1.RegisterSweepsServer(server, s)
	go func() { _ = server.Serve(listener) }() // ends with Stop
	t.Cleanup(server.Stop)
	c, err := client.Dial("passthrough:///memory", client.WithTransportCredentials(insecure.NewCredentials()),
		client.WithDialOptions(grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) })))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func TestPlanReadsTheStreamToItsEnd(t *testing.T) {
	progress := &bowrollv1.CyclesPlanStreamResponse{Event: &bowrollv1.CyclesPlanStreamResponse_Progress{Progress: &bowrollv1.PlanProgress{DoneCount: 3}}}
	item := &bowrollv1.CyclesPlanStreamResponse{Event: &bowrollv1.CyclesPlanStreamResponse_Item{Item: &bowrollv1.CyclePlan{Optimal: true}}}
	gone := status.Error(codes.Unavailable, "gone")
	for _, tt := range []struct {
		name   string
		stream []*bowrollv1.CyclesPlanStreamResponse
		err    error
		told   int
		failed func(error) bool // nil: there is a plan
	}{
		{"to its plan", []*bowrollv1.CyclesPlanStreamResponse{progress, progress, item}, nil, 2, nil},
		{"cut after progress", []*bowrollv1.CyclesPlanStreamResponse{progress}, nil, 1, func(err error) bool { return errors.Is(err, gather.ErrCut) }},
		{"empty", nil, nil, 0, func(err error) bool { return errors.Is(err, gather.ErrCut) }},
		{"failed before its plan", []*bowrollv1.CyclesPlanStreamResponse{progress}, gone, 1, func(err error) bool { return status.Code(err) == codes.Unavailable }},
		{"failed after its plan", []*bowrollv1.CyclesPlanStreamResponse{item}, gone, 0, func(err error) bool { return status.Code(err) == codes.Unavailable }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c, told := dial(t, &service{stream: tt.stream, err: tt.err}), 0
			plan, err := gather.Plan(t.Context(), c, &bowrollv1.CyclesPlanRequest{}, func(at *bowrollv1.PlanProgress) {
				if at.GetDoneCount() != 3 {
					t.Errorf("told %v", at)
				}
				told++
			})
			if told != tt.told {
				t.Errorf("told %d times, want %d", told, tt.told)
			}
			if tt.failed != nil {
				if plan != nil || !tt.failed(err) {
					t.Errorf("a plan %v, error %v", plan, err)
				}
			} else if err != nil || !plan.GetOptimal() {
				t.Errorf("a plan %v, error %v", plan, err)
			}
			// Nobody needs to be told.
			if again, _ := gather.Plan(t.Context(), c, &bowrollv1.CyclesPlanRequest{}, nil); (again == nil) != (plan == nil) {
				t.Errorf("untold, the plan is %v", again)
			}
		})
	}
}

func TestKeptCardsNeedThePlansModel(t *testing.T) {
	plan := &bowrollv1.Plan{Name: "sites/varrow/plans/dawn", Pinned: &bowrollv1.Provenance{ModelVersion: "1.0.0", CatalogRevision: "r1"}}
	var changed *gather.ModelChanged
	_, err := gather.KeptCards(t.Context(), dial(t, &service{model: "2.0.0"}), plan, nil)
	if !errors.As(err, &changed) || *changed != (gather.ModelChanged{Plan: plan.GetName(), Then: "1.0.0", Now: "2.0.0"}) {
		t.Errorf("another model: %v", err)
	}
	gone := status.Error(codes.Unavailable, "gone")
	if _, err := gather.KeptCards(t.Context(), dial(t, &service{err: gone}), plan, nil); status.Code(err) != codes.Unavailable || errors.As(err, &changed) {
		t.Errorf("a lost service: %v", err)
	}
}

func TestRowsAreHeldAgainstTheirSum(t *testing.T) {
	first, second := &bowrollv1.ReadSweepResponse{Content: []byte("run_m\n")}, &bowrollv1.ReadSweepResponse{Content: []byte("120\n")}
	whole := sha256.Sum256([]byte("run_m\n120\n"))
	end := func(sum string) *bowrollv1.ReadSweepResponse {
		return &bowrollv1.ReadSweepResponse{Summary: &bowrollv1.SweepFileSummary{RowCount: 1, Sha256: sum}}
	}
	gone := status.Error(codes.Unavailable, "gone")
	for _, tt := range []struct {
		name string
		rows []*bowrollv1.ReadSweepResponse
		err  error
		want func(error) bool
	}{
		{"whole", []*bowrollv1.ReadSweepResponse{first, second, end(hex.EncodeToString(whole[:]))}, nil, func(err error) bool { return err == nil }},
		{"damaged", []*bowrollv1.ReadSweepResponse{first, second, end("0000")}, nil, func(err error) bool { return errors.Is(err, gather.ErrRowsDamaged) }},
		{"cut", []*bowrollv1.ReadSweepResponse{first, second}, nil, func(err error) bool { return errors.Is(err, gather.ErrRowsCut) }},
		{"failed", []*bowrollv1.ReadSweepResponse{first}, gone, func(err error) bool { return status.Code(err) == codes.Unavailable }},
	} {
		var out bytes.Buffer
		told := int64(0)
		summary, err := gather.Rows(t.Context(), dial(t, &service{rows: tt.rows, err: tt.err}), &bowrollv1.ReadSweepRequest{}, &out, func(n int64) { told = n })
		if !tt.want(err) || (summary == nil) != (err != nil) || told != int64(out.Len()) {
			t.Errorf("%s: %v, %v, %d of %d bytes told", tt.name, summary, err, told, out.Len())
		}
	}
	full := errors.New("no room")
	if _, err := gather.Rows(t.Context(), dial(t, &service{rows: []*bowrollv1.ReadSweepResponse{first}}), &bowrollv1.ReadSweepRequest{}, failing{full}, nil); !errors.Is(err, full) {
		t.Errorf("a full disk: %v", err)
	}
}
