// Package cycle reads the files that people write: launch cycles, take-off cases,
// sweeps and observed runs, as YAML (runs and a logger's readings as CSV) in which
// every dimensioned value carries its unit.
//
// A file's keys are the fields of the contract's message without the unit at
// the end of their names, because the value says its unit: gross_mass_kg is
// written
//
//	gross_mass: 14,200 lb
//
// There is no list of keys in this package: it walks the message's descriptor,
// so a field that the contract gains can be written at once, and the rules the
// contract states (what is required, the range of a number, the names of an
// enumeration) are the rules the reader holds a file against.
//
//   - A bare number for a dimensioned value is refused, and so is a unit of the
//     wrong dimension. Ratios and counts are bare; a ratio may be a percentage.
//   - Enumerations are written in lower case with dashes: firing mode on-brakes.
//   - Instants are RFC 3339 with an offset, 2041-03-07T05:30:00Z.
//   - Aircraft and booster types may be written by their id alone, corvane for
//     aircraftTypes/corvane.
//   - Unknown keys are refused with the nearest valid one; so are duplicate
//     keys, blank values, anchors and merge keys.
//
// Every fault of a file is reported at once, each with file, line, column and
// the path of keys that leads to it. What was read comes with an [Index], which
// leads from a field of the message back to its place in the file, so that what
// the service refuses can be shown where it was written.
//
// The package turns text into numbers with perf/quantity, the one part of perf
// that a client may import, along with the violations that it refuses with: it
// holds no physics.
package cycle
