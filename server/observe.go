package server

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
)

// observed counts every answer of the gateway, also of requests that reach no
// service, and logs those when debugging; calls are logged where they are
// served.
func observed(registry prometheus.Registerer, log *zap.Logger, next http.Handler) (http.Handler, error) {
	answers := prometheus.NewCounterVec(prometheus.CounterOpts{
		Name: "bowroll_http_requests_total", Help: "Requests to the gateway, by method and HTTP status.",
	}, []string{"method", "code"})
	if err := registry.Register(answers); err != nil {
		return nil, err
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began := time.Now()
		path := r.URL.Path
		watched := &watchedWriter{ResponseWriter: w, code: http.StatusOK}
		method := verb(r.Method)
		next.ServeHTTP(watched, r)
		answers.WithLabelValues(method, strconv.Itoa(watched.code)).Inc()
		if entry := log.Check(zap.DebugLevel, "http"); entry != nil {
			entry.Write(zap.String("method", method), zap.String("path", shorten(path)), zap.Int("code", watched.code),
				zap.Duration("took", time.Since(began)), zap.String("caller", r.RemoteAddr))
		}
	}), nil
}

// verb is a request's method, or "other": callers must not make up names that are
// counted by.
func verb(method string) string {
	switch method {
	case http.MethodGet, http.MethodPost, http.MethodPut, http.MethodDelete, http.MethodOptions, http.MethodHead:
		return method
	}
	return "other"
}

// watchedWriter remembers the status of an answer.
type watchedWriter struct {
	http.ResponseWriter
	code int
}

// WriteHeader remembers code and passes it on.
func (w *watchedWriter) WriteHeader(code int) {
	w.code = code
	w.ResponseWriter.WriteHeader(code)
}

// Unwrap lets deadlines and flushing reach the connection.
func (w *watchedWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }
