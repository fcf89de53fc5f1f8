// Package paper describes pages for people once and prints them three ways: as
// PDF, as one self-contained HTML file, and as text.
//
// A [Document] is pages of rows of cells; a cell holds blocks: labelled fields,
// large figures, tables, lines, drawings. The description knows nothing of any
// subject. Nothing on a page depends on colour: what matters is said in words,
// weight and shape, so that a photocopy at night says the same.
//
// The bytes depend on the document alone: no clock, no map order.
package paper
