package server_test

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	_ "google.golang.org/grpc/encoding/gzip" // as a program that links it would take compressed messages
	"google.golang.org/grpc/status"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
)

// none is a service that is never reached.
func none(t *testing.T) *harness {
	t.Helper()
	return start(t, server.Services{Takeoffs: &fakeTakeoffs{compute: func(context.Context, *bowrollv1.TakeoffsComputeRequest) (*bowrollv1.Takeoff, error) {
		t.Error("it reached the service")
		return &bowrollv1.Takeoff{}, nil
	}}}, nil)
}

func TestGiantAndDeepBodiesAreRefused(t *testing.T) {
	h := none(t)
	for name, c := range map[string]struct {
		body string
		code int
	}{
		"a giant":               {`{"case":{"id":"` + strings.Repeat("a", 2<<20) + `"}}`, http.StatusRequestEntityTooLarge},
		"a million brackets":    {strings.Repeat("[", 1_000_000), http.StatusBadRequest},
		"deep objects":          {strings.Repeat(`{"case":`, 100_000) + "1" + strings.Repeat("}", 100_000), http.StatusBadRequest},
		"deep in unknown":       {`{"x":` + strings.Repeat("[", 400_000) + strings.Repeat("]", 400_000) + `}`, http.StatusBadRequest},
		"a number without end":  {`{"case":{"gross_mass_kg":` + strings.Repeat("9", 900_000) + `}}`, http.StatusBadRequest},
		"a key a hundred times": {`{` + strings.Repeat(`"case":{},`, 100) + `"case":{}}`, http.StatusBadRequest},
		"not UTF-8":             {"{\"case\":{\"id\":\"\xff\xfe\"}}", http.StatusBadRequest},
	} {
		t.Run(name, func(t *testing.T) {
			got := h.post(t, "/v1/takeoffs:compute", c.body)
			if got.code != c.code {
				t.Errorf("%d, want %d: %.300s", got.code, c.code, got.text)
			}
			got.refused(t)
			if len(got.text) > 16<<10 {
				t.Errorf("the refusal takes %d bytes", len(got.text))
			}
		})
	}
}

func TestCompressedBodiesAreRefusedUnread(t *testing.T) {
	h := none(t)
	var bomb bytes.Buffer
	w := gzip.NewWriter(&bomb)
	for range 64 {
		_, _ = w.Write(make([]byte, 1<<20))
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	for _, encoding := range []string{"gzip", "deflate", "br", "zstd", "identity, gzip"} {
		if got := h.post(t, "/v1/takeoffs:compute", bomb.String(), "Content-Encoding", encoding); got.code != http.StatusUnsupportedMediaType {
			t.Errorf("%s: %d %.200s", encoding, got.code, got.text)
		}
	}
}

// TestACompressedMessageIsBoundedByWhatItHolds sends 8 MiB of one letter, which
// takes 8 kB on the wire.
func TestACompressedMessageIsBoundedByWhatItHolds(t *testing.T) {
	h := none(t)
	r := request()
	r.Case.Id = strings.Repeat("a", 8<<20)
	_, err := h.takeoffs.Compute(context.Background(), r, grpc.UseCompressor("gzip"), grpc.MaxCallSendMsgSize(64<<20))
	if code := status.Code(err); code != codes.ResourceExhausted && code != codes.InvalidArgument {
		t.Errorf("%v", err)
	}
}

// TestPathTricksLeadNowhere sends paths as no client library would.
func TestPathTricksLeadNowhere(t *testing.T) {
	h := none(t)
	address := strings.TrimPrefix(h.url, "http://")
	for _, path := range []string{
		"/v1/../v1/takeoffs:compute", "/v1//takeoffs:compute", "/./v1/takeoffs:compute", "//v1/takeoffs:compute",
		"/v1/takeoffs%3acompute/..", "/v1/%2e%2e/metrics", "/v1/sites/..%2f..%2fmetrics", "/v1/sites/%00", "/v1/sites/a%0d%0ab",
		"/v1/sites/a/decks/..%2f..", "/debug/pprof/", "/metrics", "/v1/takeoffs:compute%00", "/V1/TAKEOFFS:COMPUTE",
		"/v1/takeoffs:compute;a=b", `/v1\takeoffs:compute`, "/v1/sites/" + strings.Repeat("a", 20<<10), "/%ff%fe", "*", "/healthz/../v1/takeoffs:compute",
	} {
		conn, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: a\r\nConnection: close\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}", path); err != nil {
			t.Fatal(err)
		}
		answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
		if err != nil {
			t.Fatalf("%.60s: %v", path, err)
		}
		text, _ := io.ReadAll(answer.Body)
		_ = conn.Close()
		switch {
		case answer.StatusCode >= 300 && answer.StatusCode < 400:
			// A path that is written oddly is sent to where it leads, here.
			if to := answer.Header.Get("Location"); !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.Contains(to, "..") {
				t.Errorf("%.60s leads to %q", path, to)
			}
		case answer.StatusCode < 400 || answer.StatusCode >= 500:
			t.Errorf("%.60s: %d %.200s", path, answer.StatusCode, text)
		}
	}
}
