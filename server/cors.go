package server

import (
	"net/http"
	"slices"

	"google.golang.org/grpc/codes"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// Headers that browsers may send and read.
const (
	sentHeaders = "Authorization, Content-Type, Grpc-Timeout, X-Request-Id"
	readHeaders = "ETag, Retry-After, X-Request-Id"
)

// cors answers preflights before routing and lets pages of the origins given,
// and no others, read answers.
func cors(origins []string, rs routes, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		origin := r.Header.Get("Origin")
		if origin == "" {
			next.ServeHTTP(w, r)
			return
		}
		h := w.Header()
		h.Add("Vary", "Origin")
		known := slices.Contains(origins, origin)
		if known {
			h.Set("Access-Control-Allow-Origin", origin)
			h.Set("Access-Control-Expose-Headers", readHeaders)
		}
		if r.Method != http.MethodOptions || r.Header.Get("Access-Control-Request-Method") == "" {
			next.ServeHTTP(w, r)
			return
		}
		if !known {
			fault := &bowrollv1.Violation{Field: "Origin", Value: shorten(origin), Rule: "known", Hint: "the operator lists the origins that may call"}
			refuse(w, http.StatusForbidden, refusal.Routing(codes.PermissionDenied, "pages of this origin may not call the service", fault))
			return
		}
		methods := rs.methodsOf(r.URL.Path)
		if methods == "" {
			methods = "GET, POST"
		}
		h.Set("Access-Control-Allow-Methods", methods)
		h.Set("Access-Control-Allow-Headers", sentHeaders)
		h.Set("Access-Control-Max-Age", "600")
		w.WriteHeader(http.StatusNoContent)
	})
}
