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
	level int
	cost  []int64 // of each option, divided by what all have in common
	limit int64   // likewise
	open  []bool  // options not excluded
	value []int64 // c_j - lambda*a_j, scaled
	top   []int64 // greatest open value of each sortie
	seen  int     // nodes visited, to refuse a tree that runs in circles
}

func (v *verifier) tree(k int, tree *Tree, limit int64) (*treeCheck, error) {
	if len(tree.Nodes) == 0 || tree.Shift > 40 {
		return nil, errors.New("no tree")
	}
	t := &treeCheck{v: v, tree: tree, level: k, cost: make([]int64, v.total), open: make([]bool, v.total),
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
	return t, nil
}

// bound is the scaled Lagrangian bound of a node over the open options;
// math.MinInt64 if a sortie has none.
func (t *treeCheck) bound(node int32) (int64, error) {
	mult := t.tree.Nodes[node].Multipliers
	size := 0.0
	for _, c := range t.cost {
		size = max(size, math.Abs(float64(c)))
	}
	size = math.Ldexp(size+1, int(t.tree.Shift)) * float64(len(t.top)+1)
	for _, m := range mult {
		if m.Value < 0 || int(m.Row) >= len(t.v.rows) || m.Row < 0 {
			return 0, fmt.Errorf("node %d: multiplier %d of row %d", node, m.Value, m.Row)
		}
		if t.v.rows[m.Row].level >= t.level {
			return 0, fmt.Errorf("node %d: row %d holds a level that is not decided yet", node, m.Row)
		}
		size += float64(float64(m.Value) * t.v.rows[m.Row].reach)
	}
	if size > 1<<62 {
		return 0, fmt.Errorf("node %d: multipliers too great to check", node)
	}
	for j, c := range t.cost {
		t.value[j] = c << t.tree.Shift
	}
	sum := int64(0)
	for _, m := range mult {
		r := &t.v.rows[m.Row]
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
