// Package quantity reads and writes numbers with units as people write them:
// "14,200 lb", "24 kt", "29.92 inHg", "95 degF".
//
// [Parse] takes the [Dimension] that the reader expects and gives the value in
// the unit of the wire ([Dimension.Unit]): SI, except temperatures in degrees
// Celsius and angles in degrees. The value is the float64 nearest to the exact
// one: unit factors are held as the exact decimals of their definitions and
// multiplied without rounding, so "24 kt" is the same bits on every machine.
//
// Nothing is guessed. A bare number for anything but a ratio is refused, and so
// are a unit of another dimension, digits grouped otherwise than in threes,
// decimal commas, hexadecimal, NaN and infinities. What is refused comes back
// as a [violation.Violation] that says what would be read. A value in range
// for its dimension may still be absurd for what it describes; that is for the
// model to judge.
//
// [Format] writes a value for people in trade units (kt, ft, lb) or in SI, and
// [FormatIn] in a unit that the caller names. What they write, Parse reads.
//
// Accepted around the number: spaces, no-break and thin spaces, the minus signs
// "-" and U+2212. Digits may be grouped by commas in threes. An exponent may
// follow ("1.5e-3 1/K"). Units are case-sensitive, since "mW" and "MW" differ.
package quantity
