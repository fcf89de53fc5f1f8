package takeoff

import "bowroll/perf/violation"

// LegRule says which ways out of a failure a policy accepts.
type LegRule uint8

const (
	LegEither  LegRule = iota // going on or stopping
	LegGo                     // going on
	LegStop                   // stopping
	LegNeither                // none is asked for
)

// String names the rule.
func (l LegRule) String() string {
	switch l {
	case LegEither:
		return "either"
	case LegGo:
		return "go"
	case LegStop:
		return "stop"
	case LegNeither:
		return "neither"
	}
	return "unknown"
}

// A Policy is what a site asks of a take-off. [DefaultPolicy] is the start.
type Policy struct {
	RunFactor     float64 // required run = run x factor; 1.15 ashore by 14 CFR 25.113(a)(2)
	FailureFactor float64 // the same on the run with a failure
	RecognitionS  float64 // first thrust due to failure recognised
	StopReactionS float64 // decision to stop to throttles closed and brakes on
	Legs          LegRule
}

// DefaultPolicy asks for no factors, 0.5 s to recognise a failure, 1 s to react
// to it, and either leg.
func DefaultPolicy() Policy {
	return Policy{RunFactor: 1, FailureFactor: 1, RecognitionS: 0.5, StopReactionS: 1, Legs: LegEither}
}

// Validate returns a [violation.List] with every number out of its range.
func (p Policy) Validate() error {
	var faults violation.List
	faults.Range("run_factor", p.RunFactor, 1, 5, "the run is multiplied by it")
	faults.Range("failure_factor", p.FailureFactor, 1, 5, "")
	faults.Range("recognition_s", p.RecognitionS, 0, 30, "")
	faults.Range("stop_reaction_s", p.StopReactionS, 0, 30, "")
	if p.Legs > LegNeither {
		faults.Add("legs", violation.Number(float64(p.Legs)), "either, go, stop or neither", "")
	}
	return faults.Err()
}
