// Package timeline turns an allocation into the hours of a deck: which team fits
// whom and when, circuit tests, igniters, launches, what has slack and what does
// not, and how much sea the ship needs for it.
//
// # Rules
//
// Sorties launch in the order given. For each, in order:
//
//   - fitting starts when a team and a bay are free, not before Deck.StartS, and not
//     earlier than HoldMaxS before the planned launch. A team fits one unit in UnitS;
//     TeamsPerAircraft teams share an aircraft's units. The circuit test follows in
//     the bay;
//   - fitting and test end at least HoldMinS before launch;
//   - igniters go in last: at the launch point, which is free DeckClearS after the
//     launch before, and at most IgniterLimitS before release;
//   - a launch follows the one before by at least the greatest of IntervalS,
//     DeckClearS, ExhaustSettleS and WindReadS, never before its planned time;
//   - a misfire keeps the launch point for its waiting time, then the aircraft is
//     struck clear and those behind are timed again.
//
// Crews limit the allocation through every window of launches (package allocate),
// as if units could be spread over teams at will. A schedule of whole aircraft can
// need a little longer; then launches slip, and the schedule says by how much and
// for want of what.
//
// All times are whole seconds after any fixed moment. The schedule advises; ordnance
// instructions and the people on deck decide, and the waiting time after a misfire
// is data of the unit type: there is no default for it.
package timeline
