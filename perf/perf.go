// Package perf and the packages below it are the model: pure functions from SI
// numbers to SI numbers, without input or output, clock, log or wire format.
//
// An arrow leads into perf from every part of bowroll and none leads out, so
// that the model can be read, tested and trusted by itself.
package perf

// ModelVersion is the version of the equations and constants. Any change of one
// of them is a change of this; a faster way to the same numbers is not.
const ModelVersion = "1.0.0"
