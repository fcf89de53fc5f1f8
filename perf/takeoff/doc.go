// Package takeoff is the take-off itself: the run along the deck with booster
// units, the stop, the rotation and the way to a screen or off the bow.
//
// # Use
//
// A [Setting] says what takes off and in what; [NewRunner] makes it ready. The
// thrust of the units against time is a [booster.Schedule], which a [Firing]
// builds from units; every failure is only another schedule of the same
// take-off. Then
//
//	(*Runner).Roll         brake release to lift-off, and the run with rotation
//	(*Runner).RollTo       the state at a distance along the deck
//	(*Runner).RollFor      the state at a time
//	(*Runner).Trace        the time history
//	(*Runner).Stop         the stop from a state
//	(*Runner).AirDistance  the way to the screen height
//	(*Runner).OffBow       the sink after leaving the deck below lift-off speed
//	(*Runner).BrakesHold   whether the brakes out-hold the thrust
//	(*WindSearch).Limit    the least headwind in which all of this holds
//	(*Runner).SteadyAirspeedMPS
//
// These allocate nothing and may be called concurrently, each caller with a
// schedule of its own. That an aircraft does not lift off is a result with its
// reason, never an error. On top of them stand the searches, which take a
// schedule as scratch memory:
//
//	(*Runner).BestFiring   the command time with the least run, house rules beside it
//	(*Runner).Legs         every failure of a fit, going on and stopping
//	(*Runner).Commit       the last point from which a stop still fits
//	(*Runner).Asymmetry    yawing moments and control speeds
//	(*Runner).Climb        gradients at lift-off, burn-out against lift-off
//	(*Runner).LeastHeadwind, MostMass, HottestAir, MostFriction, LeastRun, LeastUnits
//	(*Runner).CriticalFriction
//
// # Conventions
//
// Time 0 is brake release, distance 0 where the wheels stand then. Everything
// is SI. Headwind is positive from ahead; airspeed is ground speed plus
// headwind; lift-off is judged on airspeed.
//
// # Accuracy
//
// The ground run is integrated by Taylor series between exact break points and
// good to about 1e-9 relative, 1e-8 at worst where the run is well conditioned;
// the flight by an embedded Runge-Kutta pair, to about 1e-6. Results do not depend
// on the number of cores, nor a bit of them on the processor.
package takeoff
