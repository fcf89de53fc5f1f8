package server_test

import (
	"context"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi2"
	"github.com/getkin/kin-openapi/openapi2conv"
	"github.com/getkin/kin-openapi/openapi3"
)

// published reads the OpenAPI file, turned into the version that the validator
// knows.
func published(t *testing.T) *openapi3.T {
	t.Helper()
	text, err := os.ReadFile("../proto/openapi/bowroll.swagger.json")
	if err != nil {
		t.Fatal(err)
	}
	var v2 openapi2.T
	if err := json.Unmarshal(text, &v2); err != nil {
		t.Fatal(err)
	}
	v3, err := openapi2conv.ToV3(&v2)
	if err != nil {
		t.Fatal(err)
	}
	if err := v3.Validate(context.Background()); err != nil {
		t.Fatal(err)
	}
	return v3
}

// TestAnswersAreWhatTheOpenAPIFileSays holds answers of the gateway against the
// file, and refuses keys that the file does not know.
func TestAnswersAreWhatTheOpenAPIFileSays(t *testing.T) {
	doc := published(t)
	h := whole(t)
	for _, c := range []struct{ method, template, path, body, status string }{
		{"POST", "/v1/takeoffs:compute", "", `{"case":` + caseJSON + `,"sections":["SECTION_FAILURES","SECTION_BEST_FIRING","SECTION_LIMITS","SECTION_WORTH"]}`, "200"},
		{"POST", "/v1/takeoffs:compute", "", `{"case":` + strings.Replace(caseJSON, `"count":2`, `"count":0`, 1) + `}`, "default"},
		{"POST", "/v1/takeoffs:batchCompute", "", `{"cases":[` + caseJSON + `,{}]}`, "200"},
		{"POST", "/v1/takeoffs:trace", "", `{"step_s":0.5,"case":` + caseJSON + `}`, "200"},
		{"POST", "/v1/windLimits:compute", "", `{"case":` + caseJSON + `,"firing_plan":"FIRING_PLAN_FIXED"}`, "200"},
		{"GET", "/v1/aircraftTypes/{aircraftType}", "/v1/aircraftTypes/halbrook", "", "200"},
		{"GET", "/v1/aircraftTypes", "", "", "200"},
		{"GET", "/v1/aircraftTypes", "/v1/aircraftTypes?page_size=-1", "", "default"},
		{"GET", "/v1/sites/{site}/decks", "/v1/sites/varrow/decks", "", "200"},
	} {
		path := c.path
		if path == "" {
			path = c.template
		}
		got := h.do(t, c.method, path, c.body)
		if (got.code == 200) != (c.status == "200") {
			t.Errorf("%s %s: %d %s", c.method, path, got.code, got.text)
			continue
		}
		item := doc.Paths.Value(c.template)
		if item == nil {
			t.Errorf("%s is not in the file", c.template)
			continue
		}
		response := item.GetOperation(c.method).Responses.Value(c.status)
		schema := response.Value.Content["application/json"].Schema.Value
		var value any
		if err := json.Unmarshal([]byte(got.text), &value); err != nil {
			t.Fatal(err)
		}
		if err := schema.VisitJSON(value); err != nil {
			t.Errorf("%s %s: %v", c.method, path, err)
		}
		for _, unknown := range unknownKeys(schema, value, "") {
			t.Errorf("%s %s: %s is not in the file", c.method, path, unknown)
		}
	}
}

// unknownKeys returns the keys of value that schema does not name, and those
// that it names and value lacks.
func unknownKeys(schema *openapi3.Schema, value any, at string) []string {
	for len(schema.AllOf) == 1 {
		schema = schema.AllOf[0].Value
	}
	var found []string
	switch v := value.(type) {
	case map[string]any:
		for key, inner := range v {
			property := schema.Properties[key]
			if property == nil {
				found = append(found, at+"."+key)
				continue
			}
			found = append(found, unknownKeys(property.Value, inner, at+"."+key)...)
		}
		for key := range schema.Properties {
			if _, shown := v[key]; !shown {
				found = append(found, at+"."+key+" (missing)")
			}
		}
	case []any:
		for _, inner := range v {
			found = append(found, unknownKeys(schema.Items.Value, inner, at+"[]")...)
		}
	}
	return found
}
