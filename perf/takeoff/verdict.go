package takeoff

import (
	"cmp"
	"slices"
)

// Outcome is what was found of a take-off. Several may hold at once.
type Outcome uint8

// The outcomes, from the one that settles most to the one that settles least.
// All before [DataMissing] keep an aircraft on the deck; data missing bars a
// launch card, and no computation.
const (
	NeverGetsOff           Outcome = iota // no run is long enough
	CannotClimb                           // it lifts off and cannot climb on its engines
	SinksBack                             // it sinks 5 m on the way to the screen
	SinkExceeded                          // it sinks more off the bow than is permitted
	RunTooLong                            // the required run is longer than the run available
	NeverFires                            // the command comes after lift-off
	NoLegCovers                           // a single failure has no way out that the policy accepts
	ControlSpeedNotReached                // the moment of a symmetric fit is more than rudder and fin hold
	CrosswindExceeded                     // more crosswind than deck or type allow
	TailwindExceeded                      // more tailwind than deck or type allow
	DeckCeilingExceeded                   // more wind over deck than the deck allows
	ProbabilityTooLow                     // lift-off inside the run is less likely than asked
	DataMissing                           // data that the answer needs is not stated
	BurnOutInRotation                     // units burn out while the aircraft rotates
	NotWorthFitting                       // units save less than the policy asks of them
	Marginal                              // it gets off with little margin
	GetsOff                               // it gets off
)

var outcomeNames = [...]string{
	NeverGetsOff: "never gets off", CannotClimb: "cannot climb", SinksBack: "sinks back",
	SinkExceeded: "sinks too far off the bow", RunTooLong: "run too long",
	NeverFires: "never fires before lift-off", NoLegCovers: "no leg covers a failure",
	ControlSpeedNotReached: "control speed not reached", CrosswindExceeded: "crosswind exceeded",
	TailwindExceeded: "tailwind exceeded", DeckCeilingExceeded: "deck ceiling exceeded",
	ProbabilityTooLow: "probability too low", DataMissing: "data missing",
	BurnOutInRotation: "burn-out in rotation", NotWorthFitting: "not worth fitting",
	Marginal: "marginal", GetsOff: "gets off",
}

// String names the outcome.
func (o Outcome) String() string {
	if int(o) < len(outcomeNames) {
		return outcomeNames[o]
	}
	return "unknown"
}

// Holds tells whether the outcome keeps the aircraft on the deck.
func (o Outcome) Holds() bool { return o < DataMissing }

// A Finding is one outcome with the numbers behind it. Quantity names what
// Value and Limit are, with the unit; a Finding without one has no numbers.
type Finding struct {
	Outcome  Outcome
	Quantity string
	Value    float64
	Limit    float64
	// HasLimit and HasValue say which of the numbers exist: a run that never
	// ends has no value.
	HasValue, HasLimit bool
	Note               string // which failure, which data; empty where nothing is to add
}

// Shortfall is how far the value is on the wrong side of the limit, in the unit
// of the quantity; 0 where it is not or where a number is missing. A value is
// meant to stay at or below its limit, except where the name of the quantity
// says otherwise (speed at the edge, probability, gradient).
func (f Finding) Shortfall() float64 {
	if !f.HasValue || !f.HasLimit {
		return 0
	}
	excess := f.Value - f.Limit
	switch f.Outcome {
	case CannotClimb, ProbabilityTooLow, NotWorthFitting, NeverGetsOff, Marginal:
		excess = -excess
	}
	return max(0, excess)
}

// A Verdict is all findings, the one that settles most first.
type Verdict []Finding

func (v *Verdict) add(f Finding) { *v = append(*v, f) }

// Add puts a finding of the caller's own into its place.
func (v *Verdict) Add(f Finding) {
	v.add(f)
	*v = v.sorted()
}

// over records a value above its limit.
func (v *Verdict) over(o Outcome, quantity string, value, limit float64) {
	v.add(Finding{Outcome: o, Quantity: quantity, Value: value, Limit: limit, HasValue: true, HasLimit: true})
}

// sorted puts the findings in order of outcome.
func (v Verdict) sorted() Verdict {
	slices.SortStableFunc(v, func(a, b Finding) int { return cmp.Compare(a.Outcome, b.Outcome) })
	return v
}

// Outcome is the finding that decides whether the aircraft goes: the first that
// holds it, else marginal or gets off. Remarks never decide.
func (v Verdict) Outcome() Outcome {
	for _, f := range v {
		if f.Outcome.Holds() || f.Outcome == Marginal || f.Outcome == GetsOff {
			return f.Outcome
		}
	}
	return GetsOff
}

// Decisive is the finding behind [Verdict.Outcome], and whether there is one.
func (v Verdict) Decisive() (Finding, bool) {
	outcome := v.Outcome()
	for _, f := range v {
		if f.Outcome == outcome {
			return f, true
		}
	}
	return Finding{}, false
}
