package allocate

// A Proof shows that a result is optimal. It is checked by [Verify].
//
// For each level it holds a search tree that splits all choices into parts and,
// for each part, multipliers whose Lagrangian bound (bound.go) is no better than
// the value claimed. A last series does the same for the ties: no choice of equal
// value prefers another option at the first sortie that differs.
type Proof struct {
	Levels []LevelProof
	Ties   []TieProof
	// TieRows and TieCut belong to the ties: their rows, and the multipliers with
	// which options are excluded beforehand.
	TieRows []ProofRow
	TieCut  []Multiplier
	// TieShift is the Shift of TieCut.
	TieShift uint
}

// A LevelProof shows that no choice is beyond Limit in one level, earlier levels
// being at their values.
type LevelProof struct {
	Level int
	Limit int64 // in the level's own sense
	Rows  []ProofRow
	Tree  Tree
}

// A TieProof shows that no choice that agrees with the answer before Sortie and
// prefers another option there is as good as the answer in every level.
type TieProof struct {
	Sortie int
	Tree   Tree
}

// A ProofRow is a constraint used by multipliers: one of the problem's own, times
// Num/Den, rounded down on both sides.
type ProofRow struct {
	// Kind and what A, B, C are: "lot" (lot), "reserve" (site), "transfer"
	// (transfer), "spot" (group, spot), "neighbour" (group, neighbour), "behind"
	// (group, spot behind), "crews" (site, first and last launch time of the
	// window, seconds), "level" (level held at its value).
	Kind     string
	A, B, C  int
	Num, Den int64
}

// A Multiplier of a row, in multiples of 1/2^Shift.
type Multiplier struct {
	Row   int32
	Value int64
}

// A Tree is a search tree; node 0 is its root.
type Tree struct {
	Shift uint
	Nodes []TreeNode
}

// A TreeNode is closed by its multipliers, or split: Left takes the options
// listed in Split of Sortie, Right the others.
type TreeNode struct {
	Multipliers []Multiplier
	Sortie      int32 // -1 for a leaf
	Split       []ProofOption
	Left, Right int32
}

// A ProofOption names what becomes of a sortie.
type ProofOption struct {
	Fit  int32 // index into its fits, or Held
	Spot int32 // index into its group's spots, or -1
}

var baseNames = [...]string{"lot", "reserve", "transfer", "spot", "neighbour", "behind", "crews", "level"}

func (m *model) proofRows(rows []*row) []ProofRow {
	out := make([]ProofRow, len(rows))
	for r, w := range rows {
		out[r] = ProofRow{baseNames[w.base.kind], w.base.a, w.base.b, w.base.c, w.num, w.den}
		if w.base.kind == baseCrews {
			out[r].B = int(m.cal[w.base.a].times[w.base.b])
			out[r].C = int(m.cal[w.base.a].times[w.base.c])
		}
	}
	return out
}

func sparse(lambda []int64) []Multiplier {
	n := 0
	for _, l := range lambda {
		if l != 0 {
			n++
		}
	}
	out := make([]Multiplier, 0, n)
	for r, l := range lambda {
		if l != 0 {
			out = append(out, Multiplier{int32(r), l})
		}
	}
	return out
}
