// Package strictjson reads JSON into messages and takes nothing silently.
//
// It accepts the standard protobuf mapping with these differences, because a
// number that was misread or dropped on the way is the error that hurts most:
//
//   - An unknown key, at any depth, is a fault that names the nearest valid key.
//   - A key that stands twice, or a field under both its names, is a fault.
//   - A number is a JSON number: "12.5", "NaN" and "Infinity" as strings are
//     faults, as is a number too large for its field.
//   - An enum is a name; an unknown one is a fault that lists the valid ones.
//   - An instant without an offset is a fault.
//
// Every fault is found in one reading, each with its path. Only text that is
// not JSON at all ends the reading at once, with the line and column.
package strictjson
