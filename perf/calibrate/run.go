// Package calibrate learns from observed runs: it compares them with what the
// model says, fits the correction of an aircraft type to them, and watches for
// drift.
//
// # The fit
//
// The distance, time and airspeed at lift-off of run i are taken as
//
//	y_i = model(conditions_i, 1 + x) + e_i
//
// where x are the relative errors of thrust, rolling friction and zero-lift drag
// of the type, the thrust of each aircraft beside its type, the friction of each
// deck beside the others and the thrust of the units of each lot beside theirs.
// Every x has a normal prior around 0; those of aircraft, decks and lots draw a
// group that few runs are known of towards the type.
//
// The errors e_i are multivariate Student-t (Lange, Little and Taylor, Robust
// statistical modeling using the t distribution, J. Am. Stat. Assoc. 84, 1989)
// with [Freedom] degrees of freedom and a common scale. Their covariance is that
// of the instruments plus what wind, mass, firing time and the pilot's technique
// do to a run by the model itself, so that an error of the wind moves distance
// and time together. The maximum a posteriori is found by Gauss-Newton with
// reweighting; intervals come from the curvature there. The model's sensitivities
// are central differences.
//
// Runs that contradict themselves, or that lie too far from all the others, are
// flagged with the reason and not fitted; nothing is dropped in silence.
//
// Everything here is deterministic and knows no clock.
package calibrate

import (
	"bowroll/perf/takeoff"
)

// A Run is one observed run.
type Run struct {
	ID string
	// Setting is what took off and in what, as it was; Setting.HeadwindMPS is the
	// whole headwind, without a policy's credit.
	Setting takeoff.Setting
	Firing  takeoff.Firing
	Tail    string // aircraft; empty where it is not known
	Deck    string
	Lot     string // lot of the units; empty without units

	// What was measured at lift-off; nil where it was not.
	DistanceM   *float64
	TimeS       *float64
	AirspeedMPS *float64

	Sigma Sigma
	// Least and greatest headwind that the deck's own instruments read; nil where
	// they did not.
	LeastHeadwindMPS, GreatestHeadwindMPS *float64
}

// Sigma is how well a run is known, in standard deviations.
type Sigma struct {
	DistanceM   float64
	TimeS       float64
	AirspeedMPS float64
	HeadwindMPS float64
	MassKG      float64
	FiringS     float64
}

// DefaultSigma is for a run that does not say, at a mass without units. It is a
// policy from memory, no published source.
func DefaultSigma(massKG float64) Sigma {
	return Sigma{DistanceM: 1, TimeS: 0.2, AirspeedMPS: 0.7, HeadwindMPS: 0.7, MassKG: 0.005 * massKG, FiringS: 0.1}
}

// TechniqueSigma is the standard deviation of the airspeed at which pilots lift
// off, as a part of the model's lift-off speed. It is a policy from memory, no
// published source.
const TechniqueSigma = 0.01

// A Flag says why a run is not fitted.
type Flag uint8

// The flags.
const (
	Sound         Flag = iota
	NoLiftoff          // the model does not get it off
	Contradiction      // its time and distance cannot both be true
	WindOutside        // its headwind is outside what the deck read
	Outlier            // too far from all the others
)

// A Judgement is a flag and its reason in numbers; the reason of a sound run is
// empty.
type Judgement struct {
	Flag   Flag
	Reason string
}
