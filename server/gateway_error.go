package server

import (
	"context"
	"errors"
	"math"
	"net/http"
	"strconv"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/proto/wirejson"
	"bowroll/server/intercept"
	"bowroll/server/refusal"
)

// writeError answers a call that ended in an error.
func writeError(ctx context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
	var wrapped *runtime.HTTPStatusError
	if errors.As(err, &wrapped) {
		refuse(w, wrapped.HTTPStatus, refusal.Unreadable(wrapped.Err.Error()))
		return
	}
	if b, ok := r.Body.(*body); ok && b.refusal != nil {
		err = b.refusal
	}
	requestID := ""
	if md, ok := runtime.ServerMetadataFromContext(ctx); ok {
		for _, requestID = range md.HeaderMD.Get(intercept.RequestIDKey) {
			w.Header().Set("X-Request-Id", requestID)
		}
	}
	err, _ = refusal.Settle(err, requestID)
	refuse(w, httpStatus(err), err)
}

// httpStatus is the HTTP status of an error.
func httpStatus(err error) int {
	switch refusal.Reason(err) {
	case refusal.ReasonTooLarge:
		return http.StatusRequestEntityTooLarge
	case refusal.ReasonLate:
		return http.StatusRequestTimeout
	}
	return runtime.HTTPStatusFromCode(status.Code(err))
}

// refuse writes an error in its one form.
func refuse(w http.ResponseWriter, httpStatus int, err error) {
	if wait, ok := refusal.Retry(err); ok {
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
	}
	if httpStatus == http.StatusUnauthorized {
		w.Header().Set("WWW-Authenticate", "Bearer")
	}
	text, jsonErr := wirejson.Marshal(refusal.Status(err))
	if jsonErr != nil {
		text = []byte(`{"code":"INTERNAL","message":"an error that cannot be written","violations":[]}`)
	}
	text = append(text, '\n')
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(text)))
	w.WriteHeader(httpStatus)
	// A caller that has gone away is not an error of ours.
	_, _ = w.Write(text)
}

// writeRoutingError answers a path or method that stands for nothing.
func (rs routes) writeRoutingError(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
	fault := &bowrollv1.Violation{Field: "path", Value: shorten(r.URL.Path), Rule: "known", Hint: rs.suggestPath(r.URL.Path)}
	grpcCode, message := codes.NotFound, "no such path"
	switch code {
	case http.StatusMethodNotAllowed:
		methods := rs.methodsOf(r.URL.Path)
		w.Header().Set("Allow", methods)
		fault = &bowrollv1.Violation{Field: "method", Value: shorten(r.Method), Rule: "known", Allowed: methods}
		grpcCode, message = codes.Unimplemented, "this path takes "+methods
	case http.StatusBadRequest:
		grpcCode, message = codes.InvalidArgument, "the path cannot be read"
	}
	refuse(w, code, refusal.Routing(grpcCode, message, fault))
}

// shorten is what of a text is said back: its beginning, and U+FFFD for what is
// not UTF-8, which no answer could hold.
func shorten(s string) string {
	const most = 120
	if len(s) > most {
		s = s[:most] + "..."
	}
	return strings.ToValidUTF8(s, "\uFFFD")
}
