package allocate

import (
	"math"
	"slices"
)

// A simplex solves the linear relaxation of one stage,
//
//	greatest c*x, one option (in fractions) of each sortie, rows A*x <= b,
//
// by the dual simplex method, which can go on from where it stood when options are
// excluded or rows are added. Its floating-point result is never trusted: it only
// proposes multipliers, from which bound.go computes an integer bound.
//
// Sorties are many and rows few, so the basis is kept in generalised upper
// bounding form. Each sortie i has one basic option as its key; what the other
// basic options of i take is taken from the key, x_key(i) = 1 - sum of them. The
// remaining basis has one column for each row only:
//
//	a_j - a_key(i)   for a basic option j of sortie i that is not its key,
//	e_r              for the slack of row r,
//
// and inv is its inverse. Products are rounded before they are added (float64(a*b)),
// so that every machine finds the same multipliers.
type simplex struct {
	first []int32
	owner []int32
	cost  []float64
	rows  []*row
	lines []line    // entries of rows, for options that are alive
	cols  [][]entry // options' entries by row
	off   []bool    // excluded options
	alive [][]int32 // options of each sortie, without those dropped by compact

	key   []int32     // of each sortie
	place []int32     // of each option: position in basis, isKey or nonbasic
	slack []int32     // of each row's slack: position in basis or nonbasic
	basis []int32     // option, or len(cost)+row for a slack
	inv   [][]float64 // inverse of the working basis
	x     []float64   // values of basis
	d     []float64   // reduced costs of options, <= 0 for those not excluded
	pi    []float64   // multipliers of rows, >= 0
	z     float64     // objective of the dual, falls to the optimum

	alpha   []float64   // row of the tableau, scratch
	w       []float64   // column of the tableau, scratch
	value   []float64   // x of every option, scratch of solution
	ray     []float64   // multipliers that prove infeasibility, after lpInfeasible
	rayGain float64     // by how much the ray lowers the bound for each step
	stop    func() bool // asked now and then; true ends solve as stuck
	pivots  int         // since the last fresh inverse
	total   int         // pivots of all
}

type entry struct {
	row  int32
	coef float64
}

// A line holds the entries of a row.
type line struct {
	idx   []int32
	coef  []int64
	value []float64 // coef again
}

const (
	nonbasic = -1
	isKey    = -2
	dropped  = -3
	lpZero   = 1e-9 // feasibility tolerance
	lpPivot  = 1e-7 // least pivot
)

type lpOutcome int

const (
	lpOptimal lpOutcome = iota
	lpCutoff            // the bound fell below what was asked for
	lpInfeasible
	lpStuck // too many pivots: multipliers are valid, x is not
)

func newSimplex(first, owner []int32, cost []float64) *simplex {
	n := len(owner)
	s := &simplex{first: first, owner: owner, cost: cost,
		cols: make([][]entry, n), off: make([]bool, n), key: make([]int32, len(first)-1),
		place: make([]int32, n), d: make([]float64, n), alpha: make([]float64, n), value: make([]float64, n)}
	for i := range s.key {
		var all []int32
		for j := first[i]; j < first[i+1]; j++ {
			all = append(all, j)
		}
		s.alive = append(s.alive, all)
	}
	s.crash()
	return s
}

// crash takes every sortie's dearest option as its key and all slacks as basis:
// always dual feasible.
func (s *simplex) crash() {
	s.unplace()
	for i := range s.key {
		best := int32(-1)
		for _, j := range s.alive[i] {
			if !s.off[j] && (best < 0 || s.cost[j] > s.cost[best]) {
				best = j
			}
		}
		if best < 0 {
			best = s.alive[i][0] // with all excluded, one of them shows as infeasible
		}
		s.key[i] = best
		s.place[best] = isKey
	}
	for r := range s.rows {
		s.basis[r] = int32(len(s.cost) + r)
		s.slack[r] = int32(r)
		for c := range s.inv[r] {
			s.inv[r][c] = 0
		}
		s.inv[r][r] = 1
	}
	s.pivots = 0
	s.recompute()
}

// unplace empties the basis of options.
func (s *simplex) unplace() {
	for j, p := range s.place {
		if p != dropped {
			s.place[j] = nonbasic
		}
	}
}

// addRow adds a constraint with its slack in the basis.
func (s *simplex) addRow(r *row) {
	m := len(s.rows)
	for k, j := range r.idx {
		s.cols[j] = append(s.cols[j], entry{int32(m), float64(r.coef[k])})
	}
	s.rows = append(s.rows, r)
	s.lines = append(s.lines, s.line(r))
	s.basis = append(s.basis, 0)
	s.slack = append(s.slack, 0)
	s.pi = append(s.pi, 0)
	s.x = append(s.x, 0)
	s.w = append(s.w, 0)
	s.ray = append(s.ray, 0)
	for k := range s.inv {
		s.inv[k] = append(s.inv[k], 0)
	}
	s.inv = append(s.inv, make([]float64, m+1))
	s.enter(m)
}

// line lists the entries of a row for options that are alive.
func (s *simplex) line(r *row) line {
	l := line{idx: make([]int32, 0, len(r.idx)), coef: make([]int64, 0, len(r.idx)), value: make([]float64, 0, len(r.idx))}
	for k, j := range r.idx {
		if s.place[j] != dropped {
			l.idx = append(l.idx, j)
			l.coef = append(l.coef, r.coef[k])
			l.value = append(l.value, float64(r.coef[k]))
		}
	}
	return l
}

// compact drops options that are excluded for good from all further work.
func (s *simplex) compact() {
	for i, set := range s.alive {
		s.alive[i] = slices.DeleteFunc(set, func(j int32) bool {
			if s.off[j] && s.place[j] == nonbasic {
				s.place[j], s.alpha[j] = dropped, 0
				return true
			}
			return false
		})
	}
	for r := range s.rows {
		s.lines[r] = s.line(s.rows[r])
	}
}

// enter puts the slack of row m into the basis as its last element: with v the
// row's entries in the old basis, the inverse grows by the line (-v*inv, 1).
func (s *simplex) enter(m int) {
	s.basis[m] = int32(len(s.cost) + m)
	s.slack[m] = int32(m)
	s.pi[m] = 0
	line := s.inv[m]
	for c := range line {
		line[c] = 0
	}
	line[m] = 1
	for k := 0; k < m; k++ {
		s.inv[k][m] = 0
		j := s.basis[k]
		if int(j) >= len(s.cost) {
			continue
		}
		v := s.coef(m, j) - s.coef(m, s.key[s.owner[j]])
		if v == 0 {
			continue
		}
		for c := 0; c < m; c++ {
			line[c] -= float64(v * s.inv[k][c])
		}
	}
	s.solveX()
}

func (s *simplex) coef(r int, j int32) float64 {
	for _, e := range s.cols[j] {
		if int(e.row) == r {
			return e.coef
		}
	}
	return 0
}

// solveX computes x = inv*(b - sum of keys' columns).
func (s *simplex) solveX() {
	b := s.w
	for r := range s.rows {
		b[r] = float64(s.rows[r].rhs)
	}
	for _, j := range s.key {
		for _, e := range s.cols[j] {
			b[e.row] -= e.coef
		}
	}
	for k := range s.x {
		s.x[k] = dot(s.inv[k], b)
	}
}

// recompute refreshes everything that follows from basis and inverse.
func (s *simplex) recompute() {
	s.solveX()
	for r := range s.pi {
		s.pi[r] = 0
	}
	for k, j := range s.basis {
		if int(j) >= len(s.cost) {
			continue
		}
		c := s.cost[j] - s.cost[s.key[s.owner[j]]]
		for r, v := range s.inv[k] {
			s.pi[r] += float64(c * v)
		}
	}
	s.z = 0
	for r := range s.rows {
		s.z += float64(s.pi[r] * float64(s.rows[r].rhs))
	}
	s.price(s.pi)
	for i := range s.key {
		k := s.key[i]
		mu := s.cost[k] - s.alpha[k]
		s.z += mu
		for _, j := range s.alive[i] {
			s.d[j] = s.cost[j] - s.alpha[j] - mu
			if s.place[j] != nonbasic {
				s.d[j] = 0
			}
		}
	}
}

// price sets alpha_j = rho*a_j for every option.
func (s *simplex) price(rho []float64) {
	for _, set := range s.alive {
		for _, j := range set {
			s.alpha[j] = 0
		}
	}
	for r, v := range rho {
		if math.Abs(v) < 1e-12 {
			continue
		}
		l := &s.lines[r]
		for k, j := range l.idx {
			s.alpha[j] += float64(v * l.value[k])
		}
	}
}

// solve re-optimises until the relaxation is solved, its bound falls to cutoff or
// it proves infeasible.
func (s *simplex) solve(cutoff float64) lpOutcome {
	s.recompute()
	budget := 200 + 20*len(s.rows) + 2*len(s.key)
	for n := 0; n < budget; n++ {
		if s.z <= cutoff {
			return lpCutoff
		}
		if n%64 == 63 && s.stop() {
			return lpStuck
		}
		if s.pivots >= 60 {
			s.invert()
			s.recompute()
		}
		k, i, above := s.leaving()
		if k < 0 && i < 0 {
			if s.pivots == 0 {
				return lpOptimal
			}
			// Believe it only with a fresh view of x.
			s.recompute()
			if k, i, above = s.leaving(); k < 0 && i < 0 {
				return lpOptimal
			}
		}
		if i >= 0 {
			if k = s.second(i); k < 0 {
				if !s.swapKey(i) {
					for r := range s.ray {
						s.ray[r] = 0
					}
					s.rayGain = 0
					return lpInfeasible
				}
				continue
			}
			s.exchangeKey(i, k)
		}
		if !s.pivot(k, above) {
			return lpInfeasible
		}
	}
	return lpStuck
}

// solution is x of every option; it is valid until the next call.
func (s *simplex) solution() []float64 {
	for j := range s.value {
		s.value[j] = 0
	}
	for _, j := range s.key {
		s.value[j] = 1
	}
	for k, j := range s.basis {
		if int(j) < len(s.cost) {
			s.value[j] = s.x[k]
			s.value[s.key[s.owner[j]]] -= s.x[k]
		}
	}
	return s.value
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for k, v := range a {
		if v != 0 {
			sum += float64(v * b[k])
		}
	}
	return sum
}
