package allocate

import (
	"context"
	"math"
	"slices"
)

// A search is branch and bound over one level of the objective, earlier levels
// being held at their values as rows. Depth first: each node re-optimises the
// linear relaxation of its parent, is closed when the integer bound is no better
// than the incumbent, and otherwise splits the options of one sortie in two.
type search struct {
	m     *model
	pool  *[]*row // all rows of all searches; a row's id is its place
	lp    *simplex
	exact *bounder
	cost  []int64 // of the level, divided by unit
	unit  int64   // what all values of the level have in common
	step  int64   // what all counts of units have in common
	off   []bool  // excluded options, shared with lp

	best    []int32 // options of the incumbent, nil if there is none
	bestVal int64   // its value / unit; without one, less than any value
	enough  int64   // stop as soon as the incumbent is worth this

	limits *limits
	start  int   // limits.nodes when this search began
	quota  int   // nodes for this search
	open   int64 // greatest bound of what was left unexplored
	cut    bool  // something was left unexplored
	done   bool  // enough was reached

	root    bool // at the root, where cutting planes are added
	phase   int  // of the root
	below   bool // cutting planes are wanted below the root too
	settled int  // rows after the root
	tree    Tree
	trail   []int32
	onNew   func(value int64)
	onBound func(bound int64) // a proven bound of the level
}

// limits are shared by all searches of one problem.
type limits struct {
	ctx      context.Context
	nodes    int // so far
	most     int
	stopped  bool // the context ended
	progress func(Progress)
	tick     func() // called every tickNodes nodes, if not nil
}

const tickNodes = 500

// newSearch sets up level k over the model with rows of the pool, among them those
// that hold the earlier levels. Attempts at the same level take different ways.
func newSearch(m *model, k, attempt int, pool *[]*row, rows []*row, lim *limits) *search {
	s := &search{m: m, pool: pool, limits: lim, start: lim.nodes, quota: math.MaxInt, enough: math.MaxInt64, open: nothing}
	s.unit = 0
	for _, c := range m.levels[k] {
		s.unit = gcd(s.unit, c)
	}
	s.unit = max(s.unit, 1)
	s.cost = make([]int64, len(m.opts))
	for j, c := range m.levels[k] {
		s.cost[j] = c / s.unit
	}
	for _, o := range m.opts {
		s.step = gcd(s.step, o.units)
	}
	s.step = max(s.step, 1)
	s.exact = newBounder(m.first, s.cost)
	s.tree.Shift = s.exact.shift
	s.lp = newSimplex(m.first, m.owner, perturbed(m, k, s.cost, attempt))
	s.off = s.lp.off
	s.lp.stop = func() bool { return lim.ctx.Err() != nil }
	for _, r := range rows {
		s.lp.addRow(r)
	}
	for i := range s.m.p.Sorties {
		least := int64(0)
		for j := m.first[i]; j < m.first[i+1]; j++ {
			if j == m.first[i] || s.cost[j] < least {
				least = s.cost[j]
			}
		}
		s.bestVal += least
	}
	s.bestVal--
	return s
}

// levelRow holds a level at no less than v.
func (m *model) levelRow(level int, v int64) row {
	r := row{base: base{kind: baseLevel, a: level}, num: 1, den: 1, level: level, rhs: -v}
	for j, c := range m.levels[level] {
		if c != 0 {
			r.idx = append(r.idx, int32(j))
			r.coef = append(r.coef, -c)
		}
	}
	return r.tidied()
}

// add puts a new row into the pool and the relaxation.
func (s *search) add(r row) {
	r.id = len(*s.pool)
	*s.pool = append(*s.pool, &r)
	s.lp.addRow(&r)
}

// sparse lists multipliers of the relaxation's rows by the rows' ids.
func (s *search) sparse(lambda []int64) []Multiplier {
	var out []Multiplier
	for r, l := range lambda {
		if l != 0 {
			out = append(out, Multiplier{int32(s.lp.rows[r].id), l})
		}
	}
	return out
}

// offer takes a choice as incumbent if it keeps every constraint and is better.
func (s *search) offer(choice []int32) bool {
	v := int64(0)
	for _, j := range choice {
		v += s.cost[j]
	}
	if v <= s.bestVal || !s.keeps(choice) {
		return false
	}
	s.best, s.bestVal = slices.Clone(choice), v
	if v >= s.enough {
		s.done = true
	}
	if s.onNew != nil {
		s.onNew(v * s.unit)
	}
	return true
}

// keeps checks a choice against all rows and all crew windows, in integers.
func (s *search) keeps(choice []int32) bool {
	taken := make([]bool, len(s.cost))
	for _, j := range choice {
		taken[j] = true
	}
	for _, r := range s.lp.rows {
		if over(r, taken) > 0 {
			return false
		}
	}
	return s.m.crewsKept(choice)
}

func over(r *row, taken []bool) int64 {
	sum := -r.rhs
	for k, j := range r.idx {
		if taken[j] {
			sum += r.coef[k]
		}
	}
	return sum
}

// run searches everything that is not excluded and returns whether the incumbent
// is proven best.
func (s *search) run() bool {
	s.root, s.below = true, true
	s.visit(nil, math.MaxInt64)
	return !s.cut && !s.done
}

// bound is what the search has proven about the level, divided by unit.
func (s *search) bound() int64 {
	if s.cut {
		return max(s.open, s.bestVal)
	}
	return s.bestVal
}

func (s *search) leaf(lambda []Multiplier) int32 {
	s.tree.Nodes = append(s.tree.Nodes, TreeNode{Multipliers: lambda, Sortie: -1})
	return int32(len(s.tree.Nodes) - 1)
}

// stop says whether the search has to end, once for each node.
func (s *search) stop() bool {
	l := s.limits
	if l.stopped || l.nodes >= l.most || l.nodes-s.start >= s.quota {
		return true
	}
	if l.nodes++; l.nodes%tickNodes == 0 && l.tick != nil {
		l.tick()
	}
	if l.ctx.Err() != nil {
		l.stopped = true
	}
	return l.stopped
}

// visit explores what is not excluded. The multipliers and bound of the parent
// stand for a part that is left unexplored. It returns the node in the tree.
func (s *search) visit(parent []Multiplier, inherited int64) int32 {
	if s.done || s.stop() {
		s.cut = true
		s.open = max(s.open, inherited)
		return s.leaf(parent)
	}
	lambda, bound, out := s.relax()
	mult := s.sparse(lambda)
	if bound <= s.bestVal {
		return s.leaf(mult)
	}
	bound = min(bound, inherited)
	mark := len(s.trail)
	defer s.undo(mark)
	if s.root && s.onBound != nil && bound < math.MaxInt64/s.unit {
		s.onBound(bound * s.unit)
	}
	x := s.lp.solution()
	if out == lpOptimal && s.offer(s.rounded(x)) && bound <= s.bestVal {
		return s.leaf(mult)
	}
	s.exclude()
	if s.root && !s.done {
		if s.phase++; s.phase < len(phases) {
			return s.next(mult, bound)
		}
		s.root = false
		s.purge()
		s.settled = len(s.lp.rows)
		x = s.lp.solution()
	}
	if s.done {
		s.cut = true
		s.open = max(s.open, bound)
		return s.leaf(mult)
	}
	i, left := s.split(x)
	id := s.leaf(mult)
	if i < 0 {
		// One option of each sortie is left by these multipliers; others close it.
		choice := s.last()
		node := TreeNode{Multipliers: mult, Split: []ProofOption{s.name(choice[0])}}
		node.Left = s.leaf(s.settle(choice))
		node.Right = s.leaf(nil)
		s.tree.Nodes[id] = node
		return id
	}
	node := TreeNode{Multipliers: mult, Sortie: int32(i)}
	for _, j := range left {
		node.Split = append(node.Split, s.name(j))
	}
	right := s.others(i, left)
	home := s.lp.save()
	here := len(s.trail)
	s.ban(right)
	node.Left = s.visit(mult, bound)
	s.undo(here)
	s.lp.restore(home)
	s.ban(left)
	node.Right = s.visit(mult, bound)
	s.tree.Nodes[id] = node
	return id
}

// next goes on at the root with its next phase. In the tree it is a node of its own
// without a true split: what these multipliers exclude stays excluded below.
func (s *search) next(mult []Multiplier, bound int64) int32 {
	s.lp.compact()
	id := s.leaf(mult)
	node := TreeNode{Multipliers: mult}
	for _, j := range s.others(0, nil) {
		node.Split = append(node.Split, s.name(j))
	}
	node.Left = s.visit(mult, bound)
	node.Right = s.leaf(nil)
	s.tree.Nodes[id] = node
	return id
}

func (s *search) name(j int32) ProofOption {
	return ProofOption{int32(s.m.opts[j].fit), int32(s.m.opts[j].spot)}
}

func (s *search) ban(options []int32) {
	for _, j := range options {
		s.off[j] = true
		s.trail = append(s.trail, j)
	}
}

func (s *search) undo(mark int) {
	for _, j := range s.trail[mark:] {
		s.off[j] = false
	}
	s.trail = s.trail[:mark]
}

// rounded takes of every sortie the option with the greatest share.
func (s *search) rounded(x []float64) []int32 {
	choice := make([]int32, len(s.m.first)-1)
	for i := range choice {
		best := s.m.first[i]
		for j := best; j < s.m.first[i+1]; j++ {
			if x[j] > x[best]+1e-9 {
				best = j
			}
		}
		choice[i] = best
	}
	return choice
}

// last lists one option for each sortie that is not excluded.
func (s *search) last() []int32 {
	choice := make([]int32, len(s.m.first)-1)
	for i := range choice {
		for j := s.m.first[i]; j < s.m.first[i+1]; j++ {
			if !s.off[j] {
				choice[i] = j
			}
		}
	}
	return choice
}

// settle closes a node in which every sortie has one option left: with no
// multipliers if the choice is feasible (its bound is its value), else with a
// heavy one on a constraint that it breaks.
func (s *search) settle(choice []int32) []Multiplier {
	taken := make([]bool, len(s.cost))
	value := int64(0)
	for _, j := range choice {
		taken[j] = true
		value += s.cost[j]
	}
	if s.offer(choice) || value <= s.bestVal {
		return nil
	}
	x := make([]float64, len(s.cost))
	for _, j := range choice {
		x[j] = 1
	}
	for _, b := range s.m.crowded(x, s.step, 1e-6) {
		s.add(s.m.window(b.site, b.a, b.b))
	}
	for _, w := range s.lp.rows {
		if n := over(w, taken); n > 0 {
			return []Multiplier{{int32(w.id), ((value-s.bestVal)/n + 1) << s.exact.shift}}
		}
	}
	return nil
}
