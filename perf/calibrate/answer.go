package calibrate

import "errors"

// Settings of a fit. The standard deviations are priors, relative.
type Settings struct {
	Thrust, RollingFriction, Drag       float64 // of the type; 0 holds it at the catalog's
	TailThrust, DeckFriction, LotThrust float64 // of one aircraft, deck, lot; 0 has none
	IntervalProbability                 float64
	Folds                               int
	FalseAlarmRuns                      float64
}

// DefaultSettings are a policy from memory, no published source.
func DefaultSettings() Settings {
	return Settings{
		Thrust: 0.04, RollingFriction: 0.25, Drag: 0.1, TailThrust: 0.02, DeckFriction: 0.1, LotThrust: 0.02,
		IntervalProbability: 0.9, Folds: 5, FalseAlarmRuns: 500,
	}
}

// Group is what an offset is of.
type Group string

// The groups.
const (
	Tail Group = "tail"
	Deck Group = "deck"
	Lot  Group = "lot"
)

// An Estimate is a relative error as fitted, around 0.
type Estimate struct {
	Value, Sigma, Low, High float64
	Prior                   float64 // standard deviation before any run
}

// Learned is the part of the prior's variance that the runs took away.
func (e Estimate) Learned() float64 {
	if e.Prior == 0 {
		return 0
	}
	return 1 - e.Sigma*e.Sigma/(e.Prior*e.Prior)
}

// An Offset is how one group differs from the rest: thrust of an aircraft,
// friction of a deck, thrust of the units of a lot.
type Offset struct {
	Estimate
	Group Group
	Key   string
	Runs  int // of it that were fitted
	// Alone is what the group's own runs would give without the prior, all else
	// as fitted; nil where they say nothing.
	Alone *float64
}

// A Fit is what runs of one aircraft type teach about it.
type Fit struct {
	Thrust, RollingFriction, Drag Estimate
	Offsets                       []Offset // by group and key
	// Correlations of the errors of two estimates that the runs alone would leave,
	// without priors: near 1 or -1 only their balance is known.
	ThrustDrag, ThrustFriction float64
	// Judgements are those of the runs, in their order.
	Judgements []Judgement
	Fitted     int
	// Scale is the scatter over what was stated.
	Scale float64
	// Errors of the model as it is, of the fit on the runs it was made from, and
	// on runs that it did not see.
	Uncorrected, InSample, HeldOut Error
	// Drift of the corrected model over the runs in their order.
	Drift    Drift
	Cautions []string
}

// ErrNoRuns is returned where no run can be fitted.
var ErrNoRuns = errors.New("no run that can be fitted")
