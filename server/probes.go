package server

import (
	"net/http"

	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
)

// healthz says that the process runs.
func healthz(w http.ResponseWriter, _ *http.Request) { probe(w, true, "SERVING") }

// readyz says whether calls are taken, as the gRPC health service does: of the
// whole, or of the service named in the query, /readyz?service=bowroll.v1.Stock.
func readyz(server *health.Server) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		answer, err := server.Check(r.Context(), &healthpb.HealthCheckRequest{Service: r.URL.Query().Get("service")})
		if err != nil {
			probe(w, false, "UNKNOWN")
			return
		}
		probe(w, answer.GetStatus() == healthpb.HealthCheckResponse_SERVING, answer.GetStatus().String())
	})
}

func probe(w http.ResponseWriter, good bool, status string) {
	w.Header().Set("Content-Type", "application/json")
	if !good {
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	// A prober that has gone away is not an error of ours.
	_, _ = w.Write([]byte(`{"status":"` + status + `"}` + "\n"))
}
