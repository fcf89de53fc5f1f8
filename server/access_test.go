package server_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/access"
	"bowroll/server/certs"
	"bowroll/server/certs/certstest"
)

// signer signs tokens for the guard that comes with it.
type signer struct{ key *ecdsa.PrivateKey }

func (s signer) token(t *testing.T, subject string, grants ...string) string {
	t.Helper()
	made, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: s.key}, nil)
	if err != nil {
		t.Fatal(err)
	}
	token, err := jwt.Signed(made).Claims(map[string]any{
		"iss": "https://sign-in.fleet.example", "aud": "bowroll", "sub": subject, "exp": time.Now().Add(time.Hour).Unix(), "bowroll": grants,
	}).Serialize()
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// guard knows the signer's tokens and one name in certificates.
func guard(t *testing.T, registry *prometheus.Registry) (*access.Guard, signer) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: key.Public(), KeyID: "k"}}})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "keys.json")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	g, err := access.New(access.Config{
		Issuers:      []access.IssuerConfig{{Issuer: "https://sign-in.fleet.example", Audience: "bowroll", Keys: path}},
		Certificates: map[string][]string{"spiffe://fleet.example/varrow/planning": {"planner@varrow"}},
	}, time.Now, registry)
	if err != nil {
		t.Fatal(err)
	}
	if err := g.ReadFiles(t.Context()); err != nil {
		t.Fatal(err)
	}
	return g, signer{key}
}

// fakeStock lists nothing.
type fakeStock struct {
	bowrollv1.UnimplementedStockServer
}

func (fakeStock) ListLots(context.Context, *bowrollv1.ListLotsRequest) (*bowrollv1.ListLotsResponse, error) {
	return &bowrollv1.ListLotsResponse{}, nil
}

func answering(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
	return &bowrollv1.Takeoff{Id: "a"}, nil
}

func TestWhoeverIsNotPermittedIsDeniedOnBothTransports(t *testing.T) {
	var signs signer
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{compute: answering}, Stock: fakeStock{}}, func(c *server.Config) {
		c.Access, signs = guard(t, c.Registry)
	})
	stock := bowrollv1.NewStockClient(h.conn)
	planner := signs.token(t, "watch-officer", "planner@varrow")
	nobody := signs.token(t, "visitor")
	for _, c := range []struct {
		name, token, site string
		code              codes.Code
		web               int
	}{
		{"no token", "", "varrow", codes.Unauthenticated, 401},
		{"no token of ours", planner[:len(planner)-6], "varrow", codes.Unauthenticated, 401},
		{"no grant", nobody, "varrow", codes.PermissionDenied, 403},
		{"another's site", planner, "skarn", codes.PermissionDenied, 403},
		{"a site that there is not", planner, "nowhere", codes.PermissionDenied, 403},
		{"its own site", planner, "varrow", codes.OK, 200},
	} {
		ctx := context.Background()
		headers := []string{}
		if c.token != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+c.token)
			headers = []string{"Authorization", "Bearer " + c.token}
		}
		_, err := stock.ListLots(ctx, &bowrollv1.ListLotsRequest{Parent: "sites/" + c.site})
		wantCode(t, err, c.code)
		web := h.do(t, http.MethodGet, "/v1/sites/"+c.site+"/lots", "", headers...)
		if web.code != c.web || (c.web == 401) != (web.header.Get("WWW-Authenticate") == "Bearer") {
			t.Errorf("%s over HTTP: %d %s", c.name, web.code, web.text)
		}
		if c.code == codes.PermissionDenied && !strings.Contains(err.Error(), "reader at site "+c.site) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// Both transports count and each denial has its line; none holds a token.
	denied := h.logs.FilterMessage("denied").All()
	if len(denied) != 10 {
		t.Errorf("%d lines", len(denied))
	}
	last := denied[len(denied)-1].ContextMap()
	if last["identity"] != "watch-officer" || last["method"] != bowrollv1.Stock_ListLots_FullMethodName || last["request_id"] == "" || last["caller"] == "" {
		t.Errorf("%v", last)
	}
	for _, entry := range h.logs.All() {
		text := fmt.Sprint(entry.Message, entry.ContextMap())
		for _, part := range append(strings.Split(planner, "."), strings.Split(nobody, ".")[1]) {
			if strings.Contains(text, part) {
				t.Errorf("a part of a token is in the log: %s", text)
			}
		}
	}
	if err := testutil.GatherAndCompare(h.registry, strings.NewReader(`
# HELP bowroll_access_denied_total Calls denied, by reason: identity, role or site.
# TYPE bowroll_access_denied_total counter
bowroll_access_denied_total{reason="identity"} 4
bowroll_access_denied_total{reason="role"} 2
bowroll_access_denied_total{reason="site"} 4
`), "bowroll_access_denied_total"); err != nil {
		t.Error(err)
	}
}

func TestProbesNeedNoIdentityAndStreamsDo(t *testing.T) {
	var signs signer
	h := start(t, server.Services{Takeoffs: &fakeTakeoffs{
		stream: func(s grpc.BidiStreamingServer[bowrollv1.TakeoffsStreamComputeRequest, bowrollv1.TakeoffsStreamComputeResponse]) error {
			_, err := s.Recv()
			return err
		},
	}}, func(c *server.Config) { c.Access, signs = guard(t, c.Registry); c.Reflection = true })
	if _, err := healthpb.NewHealthClient(h.conn).Check(context.Background(), &healthpb.HealthCheckRequest{}); err != nil {
		t.Error(err)
	}
	for _, path := range []string{"/healthz", "/readyz"} {
		if web := h.do(t, http.MethodGet, path, ""); web.code != 200 {
			t.Errorf("%s: %d", path, web.code)
		}
	}
	for token, code := range map[string]codes.Code{"": codes.Unauthenticated, signs.token(t, "a", "reader@varrow"): codes.InvalidArgument} {
		ctx := context.Background()
		if token != "" {
			ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
		}
		s, err := h.takeoffs.StreamCompute(ctx)
		if err != nil {
			t.Fatal(err)
		}
		// An empty message breaks the contract, which only the screen behind says.
		_ = s.Send(&bowrollv1.TakeoffsStreamComputeRequest{})
		if _, err := s.Recv(); status.Code(err) != code && !(code == codes.InvalidArgument && err != nil && status.Code(err) != codes.Unauthenticated) {
			t.Errorf("with %d characters of token: %v", len(token), err)
		}
	}
	// No header other than the token can say who calls.
	for _, header := range []string{"Grpc-Metadata-Authorization", "X-Forwarded-User", "X-Forwarded-Client-Cert", "Grpcgateway-Authorization", "X-Bowroll-Identity"} {
		web := h.post(t, "/v1/takeoffs:compute", requestJSON, header, "Bearer "+signs.token(t, "a", "reader@*"))
		if web.code != 401 {
			t.Errorf("%s: %d", header, web.code)
		}
	}
}

func TestTLSOnEveryListener(t *testing.T) {
	ours, theirs := certstest.New(t, "ours"), certstest.New(t, "theirs")
	dir := t.TempDir()
	files := certs.Files{Certificate: filepath.Join(dir, "tls.crt"), Key: filepath.Join(dir, "tls.key"), Clients: filepath.Join(dir, "ca.crt")}
	certstest.Write(t, ours.Issue(t, certstest.Leaf{CommonName: "bowrolld"}), files.Certificate, files.Key)
	if err := os.WriteFile(files.Clients, ours.PEM(), 0o600); err != nil {
		t.Fatal(err)
	}
	held, err := certs.Open(files)
	if err != nil {
		t.Fatal(err)
	}
	registry := prometheus.NewRegistry()
	g, signs := guard(t, registry)
	core, logs := observer.New(zap.InfoLevel)
	s, err := server.New(server.Config{
		GRPCAddress: "127.0.0.1:0", HTTPAddress: "127.0.0.1:0", AdminAddress: "127.0.0.1:0", Grace: time.Second,
		Log: zap.New(core), Registry: registry, Screen: screen(t), NewID: func() string { return "id" }, Certificates: held, Access: g,
	}, server.Services{Takeoffs: &fakeTakeoffs{compute: answering}, Stock: fakeStock{}})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ready, ended := make(chan server.Addresses, 1), make(chan error, 1)
	go func() { ended <- s.Run(ctx, func(a server.Addresses) { ready <- a }) }()
	at := <-ready
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()

	known := ours.Issue(t, certstest.Leaf{CommonName: "x", URI: "spiffe://fleet.example/varrow/planning"})
	for name, c := range map[string]struct {
		config *tls.Config
		site   string
		code   codes.Code
	}{
		"its own site":             {&tls.Config{RootCAs: ours.Pool(), Certificates: []tls.Certificate{known}}, "varrow", codes.OK},
		"another's site":           {&tls.Config{RootCAs: ours.Pool(), Certificates: []tls.Certificate{known}}, "skarn", codes.PermissionDenied},
		"no certificate":           {&tls.Config{RootCAs: ours.Pool()}, "varrow", codes.Unauthenticated},
		"another trust domain":     {&tls.Config{RootCAs: ours.Pool(), Certificates: []tls.Certificate{ours.Issue(t, certstest.Leaf{CommonName: "x", URI: "spiffe://other.example/varrow/planning"})}}, "varrow", codes.Unauthenticated},
		"a name that is not known": {&tls.Config{RootCAs: ours.Pool(), Certificates: []tls.Certificate{ours.Issue(t, certstest.Leaf{CommonName: "x"})}}, "varrow", codes.Unauthenticated},
		// These never get as far as a call.
		"an authority that is not ours": {forced(theirs.Issue(t, certstest.Leaf{CommonName: "x", URI: "spiffe://fleet.example/varrow/planning"}), ours), "varrow", codes.Unavailable},
		"a certificate that ended":      {forced(ours.Issue(t, certstest.Leaf{URI: "spiffe://fleet.example/varrow/planning", Ends: time.Now().Add(-time.Minute)}), ours), "varrow", codes.Unavailable},
		"TLS 1.2":                       {&tls.Config{RootCAs: ours.Pool(), MaxVersion: tls.VersionTLS12}, "varrow", codes.Unavailable},
	} {
		conn, err := grpc.NewClient(at.GRPC, grpc.WithTransportCredentials(credentials.NewTLS(c.config)))
		if err != nil {
			t.Fatal(err)
		}
		_, err = bowrollv1.NewStockClient(conn).ListLots(context.Background(), &bowrollv1.ListLotsRequest{Parent: "sites/" + c.site})
		if status.Code(err) != c.code {
			t.Errorf("%s: %v", name, err)
		}
		conn.Close()
	}
	plain := dial(t, at.GRPC)
	if _, err := bowrollv1.NewStockClient(plain).ListLots(context.Background(), &bowrollv1.ListLotsRequest{Parent: "sites/varrow"}); status.Code(err) != codes.Unavailable {
		t.Errorf("without encryption: %v", err)
	}
	plain.Close()

	for _, protocol := range []bool{false, true} {
		transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: ours.Pool(), Certificates: []tls.Certificate{known}}, ForceAttemptHTTP2: protocol}
		client := &http.Client{Transport: transport}
		for _, c := range []struct {
			url, token string
			code       int
		}{
			{"https://" + at.HTTP + "/v1/sites/varrow/lots", signs.token(t, "a", "reader@varrow"), 200},
			{"https://" + at.HTTP + "/v1/sites/varrow/lots", "", 401}, // the certificate is for gRPC alone
			{"https://" + at.HTTP + "/readyz", "", 200},
			{"https://" + at.Admin + "/metrics", "", 401},
			{"https://" + at.Admin + "/metrics", signs.token(t, "scraper", "reader@varrow"), 200},
			{"https://" + at.Admin + "/debug/pprof/cmdline", signs.token(t, "scraper", "reader@varrow"), 403},
			{"https://" + at.Admin + "/debug/pprof/", signs.token(t, "keeper", "custodian@*"), 200},
			{"http://" + at.HTTP + "/readyz", "", 400},
		} {
			r, err := http.NewRequest(http.MethodGet, c.url, nil)
			if err != nil {
				t.Fatal(err)
			}
			if c.token != "" {
				r.Header.Set("Authorization", "Bearer "+c.token)
			}
			answer, err := client.Do(r)
			if err != nil {
				t.Errorf("%s: %v", c.url, err)
				continue
			}
			answer.Body.Close()
			if answer.StatusCode != c.code || protocol && strings.HasPrefix(c.url, "https") && answer.ProtoMajor != 2 {
				t.Errorf("%s: %d %s, want %d", c.url, answer.StatusCode, answer.Proto, c.code)
			}
		}
		transport.CloseIdleConnections()
	}
	if logs.FilterMessage("denied").Len() == 0 {
		t.Error("no denial is logged")
	}
}

// forced shows a certificate whether the server knows its authority or not.
func forced(c tls.Certificate, roots *certstest.Authority) *tls.Config {
	return &tls.Config{RootCAs: roots.Pool(), GetClientCertificate: func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &c, nil }}
}
