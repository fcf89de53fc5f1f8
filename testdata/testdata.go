// Package testdata holds the files that the program and its tests read: an
// invented catalog, invented launch cycles, and values published by others,
// each with its source, and worked calls.
package testdata

import "embed"

// Files holds the folders catalog, cycles, examples, published and vectors.
//
//go:embed catalog cycles examples published vectors/takeoff.json
var Files embed.FS
