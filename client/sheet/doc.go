// Package sheet draws the service's answers for people: the plan of a cycle, a
// take-off, wind limits, the model's checks and the catalog, as text for a
// terminal.
//
// It knows the messages of the contract and nothing else: it computes no
// physics and asks no service. Numbers are turned into the units of the trade,
// or left in SI, when they are drawn; what is not there is drawn as a dash and
// never as a zero.
//
// A sheet fits 80 columns and uses more: a table shows further columns where
// there is room for them. Colour only ever stands beside a word that says the
// same.
package sheet
