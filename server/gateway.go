package server

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"

	"bowroll/server/intercept"
	"bowroll/server/reference"
	"bowroll/server/refusal"
)

// gateway is the JSON side of the service.
type gateway struct {
	mux     *runtime.ServeMux
	conn    *grpc.ClientConn
	routes  routes
	handler http.Handler
	// screen finds the faults of requests; nil where it is another server's task.
	screen *refusal.Screen
	// lineTime is how long a line of a stream may take to come or to go.
	lineTime time.Duration
}

// newGateway makes a gateway to the server behind conn, which has those places,
// nil where it is another's. The outermost layer answers browsers' preflights,
// then come the probes, then what every request is held against before it is
// routed.
func newGateway(conn *grpc.ClientConn, origins []string, health *health.Server, places *intercept.Places, screen *refusal.Screen, lineTime time.Duration) (*gateway, error) {
	g := &gateway{conn: conn, screen: screen, lineTime: lineTime, routes: newRoutes(Contract())}
	g.mux = runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, jsonForm{}),
		runtime.WithErrorHandler(writeError),
		runtime.WithRoutingErrorHandler(g.routes.writeRoutingError),
		runtime.WithIncomingHeaderMatcher(incomingHeader),
		runtime.WithOutgoingHeaderMatcher(outgoingHeader),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithWriteContentLength(),
		runtime.WithMiddlewares(g.strictAddress),
	)
	probes := http.NewServeMux()
	probes.HandleFunc("GET /healthz", healthz)
	probes.Handle("GET /readyz", readyz(health))
	pages, err := reference.New(Contract())
	if err != nil {
		return nil, err
	}
	for _, path := range []string{"GET /reference", "GET /reference/", "GET /openapi.json"} {
		probes.Handle(path, pages)
	}
	probes.Handle("/", guard(g.routes, places, g.mux))
	g.handler = cors(origins, g.routes, probes)
	return g, nil
}

// Gateway returns the JSON side alone of services behind conn, which may be
// another server's: with the reading, writing and routing of [Server.Handler], and
// without what a server counts, so that its cost can be measured. Streams and
// probes are not served.
func Gateway(ctx context.Context, conn *grpc.ClientConn, services Services) (http.Handler, error) {
	g, err := newGateway(conn, nil, health.NewServer(), nil, nil, DefaultPatience().Line)
	if err != nil {
		return nil, err
	}
	return g, services.register(ctx, grpc.NewServer(), g.mux, conn)
}

// ServeHTTP answers a request.
func (g *gateway) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-store")
	g.handler.ServeHTTP(w, r)
}

// incomingHeader names the headers that reach the service. Nothing else does,
// so that no caller can set what the gateway itself vouches for. The library
// adds Authorization and Grpc-Timeout.
func incomingHeader(name string) (string, bool) {
	switch strings.ToLower(name) {
	case intercept.RequestIDKey, "traceparent", "tracestate":
		return strings.ToLower(name), true
	}
	return "", false
}

func outgoingHeader(name string) (string, bool) {
	if name == intercept.RequestIDKey {
		return "X-Request-Id", true
	}
	return "", false
}
