// Package testdata holds the files that the program and its tests read: an
// invented catalog, invented launch cycles, and values published by others,
// each with its source.
package testdata

import "embed"

// Files holds the folders catalog, cycles and published.
//
//go:embed catalog cycles published
var Files embed.FS
