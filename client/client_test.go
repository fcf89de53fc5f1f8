package client_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// A service answers as a test asks, and remembers what it was asked.
type service struct {
	bowrollv1.UnimplementedModelServer
	bowrollv1.UnimplementedCyclesServer
	calls atomic.Int32
	fail  func(call int32) error
	left  time.Duration // until the deadline of the last call; 0 without one
}

func (s *service) answer(ctx context.Context) error {
	s.left = 0
	if deadline, ok := ctx.Deadline(); ok {
		s.left = time.Until(deadline)
	}
	call := s.calls.Add(1)
	if s.fail != nil {
		return s.fail(call)
	}
	return nil
}

func (s *service) GetModel(ctx context.Context, _ *bowrollv1.GetModelRequest) (*bowrollv1.ModelInfo, error) {
	return &bowrollv1.ModelInfo{ProgramVersion: "test"}, s.answer(ctx)
}

func (s *service) Plan(ctx context.Context, _ *bowrollv1.CyclesPlanRequest) (*bowrollv1.CyclePlan, error) {
	return &bowrollv1.CyclePlan{}, s.answer(ctx)
}

// listen serves s over memory and returns the way to it.
func listen(t *testing.T, s *service) *bufconn.Listener {
	t.Helper()
	listener := bufconn.Listen(1 << 16)
	server := grpc.NewServer()
	bowrollv1.RegisterModelServer(server, s)
	bowrollv1.RegisterCyclesServer(server, s)
	go func() { _ = server.Serve(listener) }() // ends with Stop
	t.Cleanup(server.Stop)
	return listener
}

// dial connects to s as to a service far away.
func dial(t *testing.T, s *service, options ...client.Option) *client.Client {
	t.Helper()
	listener := listen(t, s)
	c, err := client.Dial("passthrough:///memory", append([]client.Option{
		client.WithTransportCredentials(insecure.NewCredentials()),
		client.WithDialOptions(grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) })),
	}, options...)...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func TestUnavailableIsTriedThreeTimes(t *testing.T) {
	tests := []struct {
		name  string
		code  codes.Code
		heals int32 // call that succeeds; 0 never
		calls int32
		want  codes.Code
	}{
		{"heals at the third", codes.Unavailable, 3, 3, codes.OK},
		{"never heals", codes.Unavailable, 0, 3, codes.Unavailable},
		{"refused", codes.InvalidArgument, 0, 1, codes.InvalidArgument},
		{"busy", codes.ResourceExhausted, 0, 1, codes.ResourceExhausted},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := &service{fail: func(call int32) error {
				if call == tt.heals {
					return nil
				}
				return status.Error(tt.code, "no")
			}}
			_, err := dial(t, s).Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{})
			if status.Code(err) != tt.want || s.calls.Load() != tt.calls {
				t.Errorf("%v after %d calls, want %v after %d", status.Code(err), s.calls.Load(), tt.want, tt.calls)
			}
		})
	}
}

func TestEveryUnaryCallHasADeadline(t *testing.T) {
	s := &service{}
	c := dial(t, s)
	within := func(what string, least, greatest time.Duration) {
		t.Helper()
		if s.left <= least || s.left > greatest {
			t.Errorf("%s: %v to the deadline, want over %v and at most %v", what, s.left, least, greatest)
		}
	}
	_, _ = c.Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{})
	within("reading", 0, 5*time.Second)
	_, _ = c.Cycles.Plan(t.Context(), &bowrollv1.CyclesPlanRequest{})
	within("planning", 30*time.Second, 35*time.Second)

	mine, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	_, _ = c.Cycles.Plan(mine, &bowrollv1.CyclesPlanRequest{})
	within("with a deadline of the caller's", 5*time.Second, 10*time.Second)

	_, _ = dial(t, s, client.WithTimeout(2*time.Second)).Cycles.Plan(t.Context(), &bowrollv1.CyclesPlanRequest{})
	within("with the client's own", 0, 2*time.Second)
}

func TestInProcessStopsWhatItStarted(t *testing.T) {
	s := &service{}
	listener, stopped := listen(t, s), false
	c, err := client.InProcess(t.Context(), func(context.Context) (*grpc.ClientConn, func(), error) {
		conn, err := grpc.NewClient("passthrough:///memory", grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
		return conn, func() { stopped = true }, err
	})
	if err != nil {
		t.Fatal(err)
	}
	if info, err := c.Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{}); err != nil || info.GetProgramVersion() != "test" {
		t.Errorf("answered %v, %v", info, err)
	}
	if err := c.Close(); err != nil || !stopped {
		t.Errorf("closed with %v, stopped %v", err, stopped)
	}

	broken := errors.New("no catalog")
	_, err = client.InProcess(t.Context(), func(context.Context) (*grpc.ClientConn, func(), error) { return nil, nil, broken })
	if !errors.Is(err, broken) {
		t.Errorf("error is %v, want the starter's", err)
	}
}

func TestAwait(t *testing.T) {
	// A service without health answers is there all the same.
	if err := dial(t, &service{}).Await(t.Context(), time.Minute); err != nil {
		t.Errorf("a service that answers: %v", err)
	}
	c, err := client.Dial("127.0.0.1:1")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()
	began := time.Now()
	if err := c.Await(t.Context(), 300*time.Millisecond); err == nil || time.Since(began) > 10*time.Second {
		t.Errorf("nobody there: %v after %v", err, time.Since(began))
	}
}

func TestRefusalIsTakenApart(t *testing.T) {
	detailed, err := status.New(codes.InvalidArgument, "two faults").WithDetails(
		&bowrollv1.Violations{Violations: []*bowrollv1.Violation{{Field: "case.flap"}, {Field: "case.air"}}})
	if err != nil {
		t.Fatal(err)
	}
	r, ok := client.AsRefusal(fmt.Errorf("plan: %w", detailed.Err()))
	if !ok || r.Message != "two faults" || len(r.Violations) != 2 || r.Violations[1].GetField() != "case.air" || !r.BadInput() {
		t.Errorf("taken apart as %+v, %v", r, ok)
	}
	if r, ok := client.AsRefusal(status.Error(codes.Unavailable, "gone")); !ok || r.BadInput() {
		t.Errorf("a lost service: %+v, %v", r, ok)
	}
	if _, ok := client.AsRefusal(errors.New("mine")); ok {
		t.Error("an error of no call was taken for a refusal")
	}
	if _, ok := client.AsRefusal(nil); ok {
		t.Error("no error was taken for a refusal")
	}
}
