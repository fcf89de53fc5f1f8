package allocate

import (
	"errors"
	"fmt"
	"math"
)

// A treeCheck walks one search tree of a proof. It recomputes every Lagrangian
// bound (see bounder) from the problem and the multipliers alone.
type treeCheck struct {
	v     *verifier
	tree  *Tree
	rows  []checkedRow
	cost  []int64 // of each option, divided by what all have in common
	limit int64   // likewise
	open  []bool  // options not excluded
	value []int64 // c_j - lambda*a_j, scaled
	top   []int64 // greatest open value of each sortie
	seen  int     // nodes visited, to refuse a tree that runs in circles
}

type checkedRow struct {
	index []int
	coef  []int64
	rhs   int64
	size  float64 // greatest figure in the row
}

func (v *verifier) tree(r *Result, k int, rows []ProofRow, tree *Tree, limit int64) (*treeCheck, error) {
	if len(tree.Nodes) == 0 || tree.Shift > 40 {
		return nil, errors.New("no tree")
	}
	t := &treeCheck{v: v, tree: tree, cost: make([]int64, v.total), open: make([]bool, v.total),
		value: make([]int64, v.total), top: make([]int64, len(v.opts))}
	unit := int64(0)
	for i := range v.opts {
		for o := range v.opts[i] {
			c := v.opts[i][o].level[k]
			t.cost[v.first[i]+o] = c
			for c != 0 {
				unit, c = c, unit%c
			}
		}
	}
	unit = max(unit, -unit, 1)
	for j := range t.cost {
		t.cost[j] /= unit
		t.open[j] = true
	}
	t.limit = int64(math.Floor(float64(limit) / float64(unit)))
	for (t.limit+1)*unit <= limit {
		t.limit++
	}
	for t.limit*unit > limit {
		t.limit--
	}
	for n := range rows {
		row, err := v.row(r, k, &rows[n])
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", n, err)
		}
		t.rows = append(t.rows, row)
	}
	return t, nil
}

// row states a row of a proof anew.
func (v *verifier) row(r *Result, k int, pr *ProofRow) (checkedRow, error) {
	var out checkedRow
	rhs, err := v.rhs(r, k, pr)
	if err != nil {
		return out, err
	}
	if pr.Num < 0 || pr.Den < 1 || pr.Num > 1_000_000 || pr.Den > 1_000_000_000_000 {
		return out, fmt.Errorf("fraction %d/%d", pr.Num, pr.Den)
	}
	floor := func(x int64) int64 {
		x *= pr.Num
		q := x / pr.Den
		if x < q*pr.Den {
			q--
		}
		return q
	}
	out.rhs = floor(rhs)
	out.size = math.Abs(float64(out.rhs))
	for i := range v.opts {
		for o := range v.opts[i] {
			c := floor(v.entry(i, &v.opts[i][o], pr))
			if c == 0 {
				continue
			}
			out.index = append(out.index, v.first[i]+o)
			out.coef = append(out.coef, c)
			out.size = max(out.size, math.Abs(float64(c)))
		}
	}
	return out, nil
}

func (v *verifier) rhs(r *Result, k int, pr *ProofRow) (int64, error) {
	p := v.p
	group := func() *Group {
		if pr.A >= 0 && pr.A < len(p.Groups) {
			return &p.Groups[pr.A]
		}
		return &Group{}
	}
	switch {
	case pr.Kind == "lot" && pr.A >= 0 && pr.A < len(p.Lots):
		return int64(max(0, p.Lots[pr.A].Available-p.Lots[pr.A].Reserve)), nil
	case pr.Kind == "reserve" && pr.A >= 0 && pr.A < len(p.sites()):
		sum := -p.sites()[pr.A].Reserve
		for _, l := range p.Lots {
			if l.Site == pr.A {
				sum += l.Available
			}
		}
		return int64(max(0, sum)), nil
	case pr.Kind == "transfer" && pr.A >= 0 && pr.A < len(p.Transfers):
		return int64(p.Transfers[pr.A].MaxUnits), nil
	case pr.Kind == "spot" && pr.B >= 0 && pr.B < len(group().Spots):
		return 1, nil
	case pr.Kind == "neighbour" && pr.B >= 0 && pr.B < len(group().Neighbours):
		return group().Neighbours[pr.B].GapMM, nil
	case pr.Kind == "behind" && pr.B >= 0 && pr.B < len(group().Spots) && group().HeldStay && group().Spots[pr.B].Behind != "":
		return 1, nil
	case pr.Kind == "crews" && pr.A >= 0 && pr.A < len(p.sites()) && p.sites()[pr.A].Crews != nil && pr.B <= pr.C:
		c := p.sites()[pr.A].Crews
		return int64(c.Teams) * ((int64(pr.C) - c.HoldMinS) - (int64(pr.B) - c.HoldMaxS)) / c.UnitS, nil
	case pr.Kind == "level" && pr.A >= 0 && pr.A < k:
		x, maximise := r.Objective.level(v.names[pr.A])
		if maximise {
			x = -x
		}
		return x, nil
	}
	return 0, fmt.Errorf("unknown constraint %+v", *pr)
}

// entry is what one option takes of a constraint.
func (v *verifier) entry(i int, o *proofOption, pr *ProofRow) int64 {
	p, s := v.p, &v.p.Sorties[i]
	var draws []Draw
	if o.Fit != Held {
		draws = s.Fits[o.Fit].Draws
	}
	sum := int64(0)
	switch pr.Kind {
	case "lot":
		for _, d := range draws {
			if d.Lot == pr.A {
				sum += int64(d.Units)
			}
		}
	case "reserve":
		for _, d := range draws {
			if p.Lots[d.Lot].Site == pr.A {
				sum += int64(d.Units)
			}
		}
	case "transfer":
		for _, d := range draws {
			if p.Lots[d.Lot].Site != s.Site && p.transfer(d.Lot, s.Site, o.at) == pr.A {
				sum += int64(d.Units)
			}
		}
	case "crews":
		if s.Site == pr.A && o.at >= int64(pr.B) && o.at <= int64(pr.C) {
			sum = o.units
		}
	case "level":
		sum = -o.level[pr.A]
	default:
		if o.Spot < 0 || s.Group != p.Groups[pr.A].ID {
			return 0
		}
		g := &p.Groups[pr.A]
		id := g.Spots[o.Spot].ID
		switch {
		case pr.Kind == "spot" && int(o.Spot) == pr.B:
			sum = 1
		case pr.Kind == "neighbour" && (g.Neighbours[pr.B].A == id || g.Neighbours[pr.B].B == id):
			sum = s.HalfSpanMM
		case pr.Kind == "behind" && o.Fit != Held && int(o.Spot) == pr.B:
			sum = 1
		case pr.Kind == "behind" && o.Fit == Held && g.Spots[pr.B].Behind == id:
			sum = 1
		}
	}
	return sum
}

// bound is the scaled Lagrangian bound of a node over the open options;
// math.MinInt64 if a sortie has none.
func (t *treeCheck) bound(node int32) (int64, error) {
	mult := t.tree.Nodes[node].Multipliers
	size := 0.0
	for _, c := range t.cost {
		size = max(size, math.Abs(float64(c)))
	}
	size = math.Ldexp(size+1, int(t.tree.Shift))
	for _, m := range mult {
		if m.Value < 0 || int(m.Row) >= len(t.rows) || m.Row < 0 {
			return 0, fmt.Errorf("node %d: multiplier %d of row %d", node, m.Value, m.Row)
		}
		size += float64(m.Value) * t.rows[m.Row].size
	}
	if size*float64(len(t.top)+1) > 1<<62 {
		return 0, fmt.Errorf("node %d: multipliers too great to check", node)
	}
	for j, c := range t.cost {
		t.value[j] = c << t.tree.Shift
	}
	sum := int64(0)
	for _, m := range mult {
		r := &t.rows[m.Row]
		sum += m.Value * r.rhs
		for n, j := range r.index {
			t.value[j] -= m.Value * r.coef[n]
		}
	}
	empty := false
	for i := range t.top {
		t.top[i] = math.MinInt64
		for j := t.v.first[i]; j < t.v.first[i]+len(t.v.opts[i]); j++ {
			if t.open[j] {
				t.top[i] = max(t.top[i], t.value[j])
			}
		}
		if t.top[i] == math.MinInt64 {
			empty = true
		} else {
			sum += t.top[i]
		}
	}
	if empty {
		return math.MinInt64, nil
	}
	return sum, nil
}

// exclude closes options with which the bound falls to the limit, and returns
// them.
func (t *treeCheck) exclude(bound int64) []int {
	var closed []int
	if bound == math.MinInt64 {
		return nil
	}
	for i := range t.top {
		for j := t.v.first[i]; j < t.v.first[i]+len(t.v.opts[i]); j++ {
			if t.open[j] && bound-t.top[i]+t.value[j] < (t.limit+1)<<t.tree.Shift {
				t.open[j] = false
				closed = append(closed, j)
			}
		}
	}
	return closed
}

// check shows that nothing below a node is beyond the limit.
func (t *treeCheck) check(node int32) error {
	if t.seen++; node < 0 || int(node) >= len(t.tree.Nodes) || t.seen > len(t.tree.Nodes) {
		return fmt.Errorf("no such node: %d", node)
	}
	bound, err := t.bound(node)
	if err != nil {
		return err
	}
	if bound < (t.limit+1)<<t.tree.Shift {
		return nil
	}
	n := &t.tree.Nodes[node]
	if n.Sortie < 0 || int(n.Sortie) >= len(t.v.opts) {
		return fmt.Errorf("leaf %d has bound %d/2^%d, limit %d", node, bound, t.tree.Shift, t.limit)
	}
	closed := t.exclude(bound)
	for _, side := range [2]bool{true, false} {
		var out []int
		for o := range t.v.opts[n.Sortie] {
			j := t.v.first[n.Sortie] + o
			if t.open[j] && named(n.Split, t.v.opts[n.Sortie][o].ProofOption) != side {
				t.open[j] = false
				out = append(out, j)
			}
		}
		child := n.Right
		if side {
			child = n.Left
		}
		if err := t.check(child); err != nil {
			return err
		}
		for _, j := range out {
			t.open[j] = true
		}
	}
	for _, j := range closed {
		t.open[j] = true
	}
	return nil
}

func named(split []ProofOption, o ProofOption) bool {
	for _, s := range split {
		if s == o {
			return true
		}
	}
	return false
}
