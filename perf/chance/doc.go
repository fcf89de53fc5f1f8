// Package chance says how sure a take-off is: the spread of the required run,
// the probability of lift-off inside the run available, and the firing that
// stands up best to what nobody can know beforehand.
//
// # Use
//
// A [Case] is a take-off with [Dispersions], the standard deviations of its
// inputs. Then
//
//	Evaluate    probability, percentiles and shares of variance by sampling
//	Screen      the same by first-order propagation, where that may be used
//	PlanFiring  the command time of least percentile of the run that stays covered
//
// # Sample
//
// A [Sample] is a set of randomised low-discrepancy points, the same for every
// case, command time and ship: a difference between two firings is one of the
// firings, never of luck. Each quantity is normal, cut at three standard
// deviations. Results are the same bits for any number of goroutines.
//
// A draw that does not lift off counts as an infinite run; a percentile is the
// order statistic ceil(p N). The pilot's error is added to the command time, or
// to the brake release when the units are fired on the brakes; command, release
// and ignition delay are floored at 0.
package chance
