package client_test

import (
	"context"
	"errors"
	"net"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"bowroll/client"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/certs/certstest"
)

// A hearer answers with what its calls carry as authorization.
type hearer struct {
	bowrollv1.UnimplementedModelServer
	bowrollv1.UnimplementedCyclesServer
}

func carried(ctx context.Context) string {
	return strings.Join(metadata.ValueFromIncomingContext(ctx, "authorization"), ", ")
}

func (hearer) GetModel(ctx context.Context, _ *bowrollv1.GetModelRequest) (*bowrollv1.ModelInfo, error) {
	return &bowrollv1.ModelInfo{ProgramVersion: carried(ctx)}, nil
}

func (hearer) PlanStream(_ *bowrollv1.CyclesPlanRequest, stream bowrollv1.Cycles_PlanStreamServer) error {
	return status.Error(codes.Aborted, carried(stream.Context()))
}

// hear serves a hearer on loopback and returns its address.
func hear(t *testing.T, options ...grpc.ServerOption) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := grpc.NewServer(options...)
	bowrollv1.RegisterModelServer(s, hearer{})
	bowrollv1.RegisterCyclesServer(s, hearer{})
	go func() { _ = s.Serve(listener) }() // ends with Stop
	t.Cleanup(s.Stop)
	return listener.Addr().String()
}

// renewed gives another token each time.
func renewed() func(context.Context) (string, error) {
	n := 0
	return func(context.Context) (string, error) {
		n++
		return "token." + strings.Repeat("n", n) + "==", nil
	}
}

func TestATokenGoesWithEveryCall(t *testing.T) {
	authority := certstest.New(t, "authority")
	pair := authority.Issue(t, certstest.Leaf{CommonName: "bowrolld"})
	clear, secured := hear(t), hear(t, grpc.Creds(credentials.NewServerTLSFromCert(&pair)))
	dialed := func(target string, options ...client.Option) func(client.Option) (*client.Client, error) {
		return func(token client.Option) (*client.Client, error) {
			return client.Dial(target, append(options, token)...)
		}
	}
	_, port, err := net.SplitHostPort(secured)
	if err != nil {
		t.Fatal(err)
	}
	for name, connect := range map[string]func(client.Option) (*client.Client, error){
		"over TLS": dialed(secured, client.WithAuthorities(authority.Pool())),
		"over TLS to a name that need not be this machine": dialed("dns:///localhost:"+port, client.WithAuthorities(authority.Pool())),
		"on loopback": dialed(clear),
		"in this process": func(token client.Option) (*client.Client, error) {
			return client.InProcess(t.Context(), func(context.Context) (*grpc.ClientConn, func(), error) {
				conn, err := grpc.NewClient(clear, grpc.WithTransportCredentials(insecure.NewCredentials()))
				return conn, func() {}, err
			}, token)
		},
	} {
		t.Run(name, func(t *testing.T) {
			c, err := connect(client.WithToken(renewed()))
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = c.Close() }()
			model, err := c.Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{})
			if err != nil || model.GetProgramVersion() != "Bearer token.n==" {
				t.Errorf("a call carried %q, %v", model.GetProgramVersion(), err)
			}
			stream, err := c.Cycles.PlanStream(t.Context(), &bowrollv1.CyclesPlanRequest{})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := stream.Recv(); status.Convert(err).Message() != "Bearer token.nn==" {
				t.Errorf("a stream carried %v", err)
			}
		})
	}
}

func TestATokenNeverGoesOverANetworkInTheClear(t *testing.T) {
	for _, target := range []string{"10.0.0.1:8471", "varrow.example:8471", "passthrough:///memory"} {
		_, err := client.Dial(target, client.WithToken(renewed()), client.WithTransportCredentials(insecure.NewCredentials()))
		if err == nil || !strings.Contains(err.Error(), "the token would go to "+target+" in the clear") {
			t.Errorf("%s: %v", target, err)
		}
	}
	// Credentials set behind the client's back: nothing is sent either.
	address := hear(t)
	c, err := client.Dial("passthrough:///far", client.WithToken(func(context.Context) (string, error) {
		t.Error("the token was asked for")
		return "token", nil
	}), client.WithDialOptions(grpc.WithTransportCredentials(insecure.NewCredentials()), grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "tcp", address)
	})))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()
	if _, err := c.Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{}); status.Code(err) != codes.Unauthenticated {
		t.Errorf("a call in the clear: %v", err)
	}
}

func TestWithoutATokenNothingIsSent(t *testing.T) {
	address := hear(t)
	for name, c := range map[string]struct {
		token string
		err   error
		code  codes.Code
		said  string
	}{
		"the source fails":    {"", errors.New("the sign-in service is away"), codes.Unauthenticated, "no token: the sign-in service is away"},
		"nothing":             {"", nil, codes.Unauthenticated, "the token is empty"},
		"padding alone":       {"==", nil, codes.Unauthenticated, "nothing but ="},
		"two lines":           {"secret\nx-other: 1", nil, codes.Unauthenticated, "position 7"},
		"the source gives up": {"", context.Canceled, codes.Unauthenticated, "no token: context canceled"},
	} {
		t.Run(name, func(t *testing.T) {
			to, err := client.Dial(address, client.WithToken(func(context.Context) (string, error) { return c.token, c.err }))
			if err != nil {
				t.Fatal(err)
			}
			defer func() { _ = to.Close() }()
			_, err = to.Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{})
			if r, _ := client.AsRefusal(err); r == nil || r.Code != c.code || !strings.Contains(r.Message, c.said) || strings.Contains(r.Message, "secret") {
				t.Errorf("the call ended with %v", err)
			}
		})
	}
	to, err := client.Dial(address, client.WithToken(func(ctx context.Context) (string, error) {
		<-ctx.Done()
		return "", ctx.Err()
	}), client.WithTimeout(20e6))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = to.Close() }()
	if _, err := to.Model.GetModel(t.Context(), &bowrollv1.GetModelRequest{}); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("a source that is slower than the call: %v", err)
	}
}
