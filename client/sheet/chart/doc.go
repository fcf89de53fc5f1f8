// Package chart draws wind limits as pictures: the envelope of a load over the
// direction of the wind, and the table of a deck.
//
// A picture is laid out for a phone's width and scaled up from there, so that it
// reads alike at 400 pixels and at 1 200. It is black and grey on white: what a
// line or a field means is written at it, and no meaning hangs on a shade. It
// knows the service's answers alone, computes nothing, and draws no line between
// two cells of a table that the table does not vouch for.
package chart
