// Package published holds the model against values that others have published.
//
// The values are rows of a CSV file, each with its inputs, its source and how
// it was obtained:
//
//	id         stable name of the check
//	title      what is checked, for people
//	method     how today's figure is computed, see [Row.Check]
//	inputs     "key = value; key = value", quantities with their units
//	expected   the published value
//	unit       its unit, 1 for a ratio
//	tolerance  greatest deviation: "0.5" in the unit, "0.1 %" or "1e-6 of it"
//	obtained   read, second-hand, computed or memory
//	source     where it stands, or what it was computed with
//
// A row decides something only where it has a tolerance and its value was read,
// or read where another quotes it, or computed by independent means. A value
// from memory is shown and decides nothing until someone opens the source; so
// is one that a right program would fail, and its title says why.
//
// Every figure is computed here and now by the packages under perf. The few
// closed forms that published values rest on stand in closedform.go.
package published
