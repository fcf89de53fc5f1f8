package server

import (
	"net/http"
	"net/http/pprof"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"bowroll/server/access"
)

// adminHandler serves metrics and profiles, on a listener of its own so that
// what operators see is never a path of the service. Where guard is not nil it
// decides who sees which.
func adminHandler(registry *prometheus.Registry, guard *access.Guard) http.Handler {
	profiles := http.NewServeMux()
	profiles.HandleFunc("GET /debug/pprof/", pprof.Index)
	profiles.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
	profiles.HandleFunc("GET /debug/pprof/symbol", pprof.Symbol)
	profiles.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	metrics := promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
	mux := http.NewServeMux()
	if guard == nil {
		mux.Handle("/debug/pprof/", profiles)
		mux.Handle("GET /metrics", metrics)
		return mux
	}
	mux.Handle("/debug/pprof/", guard.PermitHTTP(access.Profiles, profiles))
	mux.Handle("GET /metrics", guard.PermitHTTP(access.Metrics, metrics))
	return mux
}
