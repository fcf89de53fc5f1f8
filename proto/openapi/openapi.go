// Package openapi holds the OpenAPI form of the contract.
package openapi

import _ "embed" // for the file

// JSON is the contract as OpenAPI 3, made from proto/ by .ci/generate.
//
//go:embed bowroll.openapi.json
var JSON []byte
