package allocate

// A Proof shows that a result is optimal. It is checked by [Verify].
//
// For each level it holds a search tree that splits all choices into parts and,
// for each part, multipliers whose Lagrangian bound (bound.go) is no better than
// the value claimed. A last series does the same for the ties: no choice of equal
// value prefers another option at the first sortie that differs.
type Proof struct {
	// Rows that multipliers refer to by index.
	Rows   []ProofRow
	Levels []LevelProof
	Ties   []TieProof
	// TieCut are multipliers with which options are excluded before the ties, and
	// TieShift is their scale.
	TieCut   []Multiplier
	TieShift uint
}

// A LevelProof shows that no choice is beyond Limit in one level, earlier levels
// being at their values.
type LevelProof struct {
	Level int
	Limit int64 // in the level's own sense
	Tree  Tree
}

// A TieProof shows that no choice that agrees with the answer before Sortie and
// prefers another option there is as good as the answer in every level.
type TieProof struct {
	Sortie int
	Tree   Tree
}

// A ProofRow is a constraint used by multipliers: one of the problem's own, times
// Num/Den, rounded down on both sides, or a cutting plane blended from rows before
// it.
type ProofRow struct {
	// Kind and what A, B, C are: "lot" (lot), "reserve" (site), "transfer"
	// (transfer), "spot" (group, spot), "neighbour" (group, neighbour), "behind"
	// (group, spot behind), "crews" (site, first and last launch time of the
	// window, seconds), "level" (level held at its value), "blend" (none).
	Kind     string
	A, B, C  int
	Num, Den int64
	// Blend and Shift make a cutting plane: whole multiples of 1/Den of rows and
	// of the sum of each sortie's options (which is one).
	Blend []Multiplier
	Shift []int64
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

var baseNames = [...]string{"lot", "reserve", "transfer", "spot", "neighbour", "behind", "crews", "level", "blend"}

func (m *model) proofRows(rows []*row) []ProofRow {
	out := make([]ProofRow, len(rows))
	for r, w := range rows {
		out[r] = ProofRow{Kind: baseNames[w.base.kind], A: w.base.a, B: w.base.b, C: w.base.c, Num: w.num, Den: w.den}
		if b := w.blend; b != nil {
			out[r].Den, out[r].Shift = b.den, b.shift
			for c, id := range b.rows {
				out[r].Blend = append(out[r].Blend, Multiplier{int32(id), b.k[c]})
			}
		}
		if w.base.kind == baseCrews {
			out[r].B = int(m.cal[w.base.a].times[w.base.b])
			out[r].C = int(m.cal[w.base.a].times[w.base.c])
		}
	}
	return out
}
