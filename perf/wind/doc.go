// Package wind works out the wind that a deck feels, in which winds a load may
// go, and the course and speed that make such a wind.
//
// # Conventions
//
// Directions are where the wind comes from, in degrees, clockwise; speeds are
// in m/s. Natural winds and courses are measured from true north, winds over
// deck from the ship's head, envelopes from the launch axis. Headwind is
// positive from ahead along the launch axis, crosswind positive from starboard.
// The axis may be offset from the ship's head, positive to starboard. The ship
// is taken to go where her head points, without leeway.
//
// # What is here
//
//   - [Ship.OverDeck] and [Ship.Natural] solve the wind triangle both ways;
//     [LineUp] and [HeadUp] give the course that puts the wind down the axis.
//   - [Credit] holds the factors of a policy on the natural wind along the axis;
//     the ship's own speed is always credited whole.
//   - [Natural.Use] combines lull, mean and gust with the ship's motion and
//     gives the wind that a run is planned on.
//   - [Resolve] turns anemometer readings into one deck wind, or holds the
//     answer where the sensors disagree.
//   - [Envelope] gives the winds over deck that keep a load's [Limits].
//   - [FindCourse] gives all courses and speeds that keep every load's limits,
//     the one to steer, and the best achievable where there is none.
//
// Everything is pure and deterministic. Faulty input comes back as a
// [violation.List] with every fault in it.
package wind
