// Package examples reads the worked calls of testdata/examples: one or more for
// each method, in an order in which a service with an empty store answers them
// all. Tests send them, clients are held against them, and the page that tries
// calls begins with them.
//
// A text that starts with "=" stands for what an earlier call answered:
// "=Catalog.GetSite:etag" is the etag of the last answer of that method,
// "=Cycles.Plan:launches.0.sortie" goes deeper, and
// "=Catalog.GetSite:|name=sites/tollan" is the whole answer with one field set.
package examples

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"strconv"
	"strings"

	"bowroll/testdata"
)

// Call is one worked call.
type Call struct {
	// Method is "Takeoffs.Compute".
	Method string `json:"method"`
	// Request is the request in its JSON form, with references to earlier answers.
	Request map[string]any `json:"request"`
}

// All returns every call in the order in which they are made.
func All() ([]Call, error) {
	files, err := fs.Glob(testdata.Files, "examples/*.json")
	if err != nil {
		return nil, err
	}
	var calls []Call
	for _, file := range files { // Glob returns them in the order of their names
		text, err := testdata.Files.ReadFile(file)
		if err != nil {
			return nil, err
		}
		var some []Call
		if err := json.Unmarshal(text, &some); err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		calls = append(calls, some...)
	}
	return calls, nil
}

// Resolved returns the request with its references replaced; answers holds what
// each method answered last.
func (c Call) Resolved(answers map[string]any) (map[string]any, error) {
	value, err := resolve(c.Request, answers)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", c.Method, err)
	}
	request, _ := value.(map[string]any)
	return request, nil
}

func resolve(value any, answers map[string]any) (any, error) {
	switch v := value.(type) {
	case map[string]any:
		out := make(map[string]any, len(v))
		for key, inner := range v {
			var err error
			if out[key], err = resolve(inner, answers); err != nil {
				return nil, err
			}
		}
		return out, nil
	case []any:
		out := make([]any, len(v))
		for i, inner := range v {
			var err error
			if out[i], err = resolve(inner, answers); err != nil {
				return nil, err
			}
		}
		return out, nil
	case string:
		if reference, ok := strings.CutPrefix(v, "="); ok {
			return refer(reference, answers)
		}
	}
	return value, nil
}

// refer returns what a reference stands for.
func refer(reference string, answers map[string]any) (any, error) {
	method, path, ok := strings.Cut(reference, ":")
	value, answered := answers[method]
	if !ok || !answered {
		return nil, fmt.Errorf("%q refers to no earlier answer", reference)
	}
	path, change, changed := strings.Cut(path, "|")
	for _, step := range strings.Split(path, ".") {
		if step == "" {
			continue
		}
		var found bool
		switch v := value.(type) {
		case map[string]any:
			value, found = v[step]
		case []any:
			if i, err := strconv.Atoi(step); err == nil && i >= 0 && i < len(v) {
				value, found = v[i], true
			}
		}
		if !found {
			return nil, fmt.Errorf("%q: the answer has no %s", reference, step)
		}
	}
	whole, isObject := value.(map[string]any)
	if !changed || !isObject {
		return value, nil
	}
	key, text, _ := strings.Cut(change, "=")
	out := make(map[string]any, len(whole))
	for k, v := range whole {
		out[k] = v
	}
	out[key] = text
	return out, nil
}
