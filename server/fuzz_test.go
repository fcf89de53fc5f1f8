package server_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"

	"bowroll/server"
	"bowroll/server/assembly"
)

// FuzzGateway sends any text to the whole service over JSON. Whatever it is,
// the answer is JSON, and never an error inside the service.
func FuzzGateway(f *testing.F) {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		f.Fatal(err)
	}
	s, err := assembly.New(server.Config{
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(f), Cores: 1, NewID: assembly.NewID,
	}, folder)
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = s.Close() })
	paths := []string{"/v1/takeoffs:compute", "/v1/takeoffs:batchCompute", "/v1/takeoffs:trace", "/v1/windLimits:compute"}
	f.Add(uint8(0), `{"case":`+caseJSON+`}`)
	f.Add(uint8(0), `{"case":`+strings.Replace(caseJSON, `"count":2`, `"count":-2`, 1)+`,"sections":["SECTION_LIMITS","SECTION_FAILURES"]}`)
	f.Add(uint8(1), `{"cases":[`+caseJSON+`,{"id":"b"},null]}`)
	f.Add(uint8(2), `{"case":`+caseJSON+`,"step_s":0.5}`)
	f.Add(uint8(3), `{"case":`+caseJSON+`,"firing_plan":"FIRING_PLAN_FIXED","unit_counts":[0,2]}`)
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		path := paths[int(which)%len(paths)]
		req := httptest.NewRequest(http.MethodPost, path, strings.NewReader(text))
		req.Header.Set("Content-Type", "application/json")
		got := httptest.NewRecorder()
		s.Handler().ServeHTTP(got, req)
		if got.Code >= 500 && got.Code != http.StatusGatewayTimeout {
			t.Fatalf("%s: %d %s", path, got.Code, got.Body)
		}
		if !json.Valid(got.Body.Bytes()) {
			t.Fatalf("%s: not JSON: %s", path, got.Body)
		}
	})
}
