// Package wirejson writes messages as the JSON of the contract: the standard
// protobuf mapping with one policy for every endpoint.
//
//   - Keys are the field names of the .proto files, in snake_case.
//   - Every field is shown: zero scalars and empty lists as they are, absent
//     messages and absent optional values as null, so that a table made of
//     answers has the same columns in every row.
//   - Enums are names, instants RFC 3339 in UTC with Z, 64-bit integers strings.
//   - A double is written with the fewest digits that read back to the same
//     bits; NaN and infinity are errors.
//
// The same message gives the same bytes. Digests are nevertheless taken over
// the canonical form (server/canonical), never over JSON.
package wirejson
