package allocate

import "fmt"

// Status says how much is known about an answer.
type Status int

const (
	// Optimal: proven best in every level of the objective.
	Optimal Status = iota + 1
	// Feasible: a limit was hit. The choice keeps every constraint; levels that
	// are not proven carry a proven bound.
	Feasible
	// Infeasible: proven that no choice keeps every constraint. Only sorties that
	// must launch, or held aircraft that must stay, can bring that about.
	Infeasible
	// Unknown: a limit was hit before any choice was found or excluded. Only
	// possible where Infeasible is.
	Unknown
)

func (s Status) String() string {
	switch s {
	case Optimal:
		return "optimal"
	case Feasible:
		return "feasible"
	case Infeasible:
		return "infeasible"
	case Unknown:
		return "unknown"
	}
	return fmt.Sprintf("Status(%d)", int(s))
}

// Held in [Choice.Fit] marks a sortie that is not launched.
const Held = -1

// A Choice is what one sortie gets.
type Choice struct {
	Fit int // index into the sortie's Fits, or Held
	// Spot it stands on, for a sortie of a group; empty for a held sortie that is
	// struck clear.
	Spot string
}

// Objective is the value of a choice, as people read it.
type Objective struct {
	Priority   int64 // total priority launched
	Units      int64 // units used
	ExpiryRank int64 // sum over units of the lot's expiry rank
	MarginMM   int64 // sum of margins, each capped at MarginCapMM
	Kept       int64 // sorties that keep the fit of the earlier plan
}

// A Level is one stage of the lexicographic objective.
type Level struct {
	Name     string // "priority", "units", "expiry_rank", "margin_mm" or "kept"
	Maximise bool
	Value    int64 // of the answer
	// Bound is proven: with the earlier levels at their values, no choice has a
	// Value beyond it. It means nothing unless Bounded.
	Bound   int64
	Bounded bool
	// Proven says that Value is the best there is, earlier levels being at
	// theirs. Once a level is not proven, no later one is.
	Proven bool
}

// Gap is how far Value could at most be from the best, 0 where it is proven and
// -1 where nothing is known about it.
func (l *Level) Gap() int64 {
	switch {
	case l.Proven:
		return 0
	case !l.Bounded:
		return -1
	case l.Maximise:
		return l.Bound - l.Value
	}
	return l.Value - l.Bound
}

// A Result is an answer to a problem.
type Result struct {
	Status    Status
	Choices   []Choice // one for each sortie; nil if Infeasible or Unknown
	Objective Objective
	Levels    []Level // in order of weight
	// Unique says that an optimal result has won the ties as well, so that every
	// machine gives the same choices. It is false when a limit came in between: the
	// choices are then one optimum of several.
	Unique bool
	// Nodes of the search, over all levels; the same on every machine.
	Nodes int
	// Proof of the levels that are proven; see [Verify].
	Proof *Proof
}

// LotUse is how many units the answer draws from each lot.
func (r *Result) LotUse(p *Problem) []int {
	use := make([]int, len(p.Lots))
	for i, c := range r.Choices {
		if c.Fit == Held {
			continue
		}
		for _, d := range p.Sorties[i].Fits[c.Fit].Draws {
			use[d.Lot] += d.Units
		}
	}
	return use
}
