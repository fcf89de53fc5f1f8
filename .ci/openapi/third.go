package main

import (
	"bytes"
	"context"
	"encoding/json"

	"github.com/getkin/kin-openapi/openapi2"
	"github.com/getkin/kin-openapi/openapi2conv"
)

// third returns an OpenAPI 2 file as OpenAPI 3, where null has a word.
func third(second []byte) ([]byte, error) {
	var old openapi2.T
	if err := json.Unmarshal(second, &old); err != nil {
		return nil, err
	}
	made, err := openapi2conv.ToV3(&old)
	if err != nil {
		return nil, err
	}
	made.Servers = nil // the service that the file comes from
	if err := made.Validate(context.Background()); err != nil {
		return nil, err
	}
	text, err := json.Marshal(made)
	if err != nil {
		return nil, err
	}
	text = bytes.ReplaceAll(text, []byte(`"x-nullable":true`), []byte(`"nullable":true`))
	var out bytes.Buffer
	if err := json.Indent(&out, text, "", " "); err != nil {
		return nil, err
	}
	out.WriteByte('\n')
	return out.Bytes(), nil
}
