package server

import (
	"io"
	"mime"
	"net/http"
	"regexp"
	"strings"

	"google.golang.org/grpc/codes"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/intercept"
	"bowroll/server/refusal"
)

// body is a request's body with a limit on its size and, once it could not be
// read, why.
type body struct {
	io.ReadCloser
	refusal error
}

// guard holds a request's headers against what the gateway takes, refuses what
// there is no place for and bounds the body, before anything is read.
func guard(rs routes, places *intercept.Places, next http.Handler) http.Handler {
	fixed := rs.fixed()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if fault := headerFault(r); fault != nil {
			refuse(w, http.StatusUnsupportedMediaType, refusal.Routing(codes.InvalidArgument, refusal.Line(fault), fault))
			return
		}
		if fault := timeoutFault(r); fault != nil {
			refuse(w, http.StatusBadRequest, refusal.Invalid([]*bowrollv1.Violation{fault}))
			return
		}
		bound, found := fixed[r.URL.Path]
		if !found {
			bound = rs.at(r.URL.Path)
		}
		if err := busy(places, bound, r.Method); err != nil {
			refuse(w, http.StatusTooManyRequests, err)
			return
		}
		limit := bodyLimit(bound)
		if r.ContentLength > limit {
			err := refusal.TooLarge(int(r.ContentLength), int(limit), "ask for less at once, or use the stream")
			refuse(w, http.StatusRequestEntityTooLarge, err)
			return
		}
		r.Body = &body{ReadCloser: http.MaxBytesReader(w, r.Body, limit)}
		next.ServeHTTP(w, r)
	})
}

// busy refuses a request where the method that it asks for has no place for it.
func busy(places *intercept.Places, bound []*route, verb string) error {
	if places == nil {
		return nil
	}
	for _, route := range bound {
		if route.verb == verb {
			return places.Busy(route.fullMethod())
		}
	}
	return nil
}

// bodyLimit is the most that the body of a request to a path with these bindings
// may hold.
func bodyLimit(bound []*route) int64 {
	for _, route := range bound {
		switch {
		case route.method.IsStreamingClient():
			return MaxStreamBodyBytes
		case bulky[route.fullMethod()]:
			return MaxBulkBodyBytes
		}
	}
	return MaxBodyBytes
}

// bulky are the methods whose bodies may be those of a batch.
var bulky = map[string]bool{
	bowrollv1.Takeoffs_BatchCompute_FullMethodName: true,
	bowrollv1.Takeoffs_Tabulate_FullMethodName:     true,
	bowrollv1.Cycles_Plan_FullMethodName:           true,
	bowrollv1.Cycles_PlanStream_FullMethodName:     true,
	bowrollv1.Cycles_Tabulate_FullMethodName:       true,
	bowrollv1.Cycles_PlanFleet_FullMethodName:      true,
	bowrollv1.Cycles_Compare_FullMethodName:        true,
	bowrollv1.Catalog_ImportCatalog_FullMethodName: true,
}

// timeoutForm is that of the header Grpc-Timeout.
var timeoutForm = regexp.MustCompile(`^[0-9]{1,8}[HMSmun]$`)

// timeoutFault refuses a time that cannot be read, which the library would without
// saying where it stands.
func timeoutFault(r *http.Request) *bowrollv1.Violation {
	sent := r.Header.Get("Grpc-Timeout")
	if sent == "" || timeoutForm.MatchString(sent) {
		return nil
	}
	return &bowrollv1.Violation{
		Field: "Grpc-Timeout", Value: shorten(sent), Rule: "format", Allowed: "up to 8 digits and a unit: H, M, S, m, u or n",
		Hint: "20S is 20 seconds, 500m half a second",
	}
}

// headerFault refuses bodies in another form. Asking for application/json also
// makes browsers ask first before they send what another site's page made.
func headerFault(r *http.Request) *bowrollv1.Violation {
	if encoding := r.Header.Get("Content-Encoding"); encoding != "" && encoding != "identity" {
		return &bowrollv1.Violation{Field: "Content-Encoding", Value: shorten(encoding), Rule: "known", Allowed: "identity", Hint: "send the body uncompressed"}
	}
	if r.Method == http.MethodGet || r.Method == http.MethodHead || r.ContentLength == 0 {
		return nil
	}
	sent := r.Header.Get("Content-Type")
	kind, parameters, err := mime.ParseMediaType(sent)
	charset := strings.ToLower(parameters["charset"])
	if err == nil && (kind == "application/json" || kind == ndjsonType) && (charset == "" || charset == "utf-8") {
		return nil
	}
	return &bowrollv1.Violation{Field: "Content-Type", Value: shorten(sent), Rule: "known", Allowed: "application/json", Hint: "send the header Content-Type: application/json"}
}
