package server

import (
	"net/http"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"go.opentelemetry.io/contrib/instrumentation/net/http/otelhttp"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
)

// tracing makes spans of requests and calls, each under the one that asked for
// it: of a JSON request, of the call over the connection in memory that it
// becomes, and of the call as it is served. Its zero value makes none.
type tracing struct{ spans trace.TracerProvider }

// grpcOptions are those of the calls that the service asks of itself and serves.
func (t tracing) grpcOptions() []otelgrpc.Option {
	return []otelgrpc.Option{
		otelgrpc.WithTracerProvider(t.spans), otelgrpc.WithPropagators(propagation.TraceContext{}),
		// Probes come every few seconds and would bury what people ask.
		otelgrpc.WithFilter(filters.Not(filters.HealthCheck())),
	}
}

// served returns the option of a server whose calls are traced.
func (t tracing) served() []grpc.ServerOption {
	if t.spans == nil {
		return nil
	}
	return []grpc.ServerOption{grpc.StatsHandler(otelgrpc.NewServerHandler(t.grpcOptions()...))}
}

// asked returns the option of a connection whose calls are traced.
func (t tracing) asked() []grpc.DialOption {
	if t.spans == nil {
		return nil
	}
	return []grpc.DialOption{grpc.WithStatsHandler(otelgrpc.NewClientHandler(t.grpcOptions()...))}
}

// requests returns next with its requests traced.
func (t tracing) requests(next http.Handler) http.Handler {
	if t.spans == nil {
		return next
	}
	return otelhttp.NewHandler(next, "HTTP",
		otelhttp.WithTracerProvider(t.spans), otelhttp.WithPropagators(propagation.TraceContext{}),
		otelhttp.WithFilter(func(r *http.Request) bool { return r.URL.Path != "/healthz" && r.URL.Path != "/readyz" }),
		// With names of ships and plans in it a path would be a name of its own each
		// time; the call under it says what was asked.
		otelhttp.WithSpanNameFormatter(func(_ string, r *http.Request) string { return verb(r.Method) }))
}
