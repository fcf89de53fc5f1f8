package allocate

import "math"

// invert computes the inverse of the working basis afresh (Gauss-Jordan with row
// pivoting) and falls back to the crash basis where it has become singular.
func (s *simplex) invert() {
	m := len(s.rows)
	a := make([][]float64, m)
	cells := make([]float64, 2*m*m)
	for r := range a {
		a[r], cells = cells[:2*m:2*m], cells[2*m:]
		a[r][m+r] = 1
	}
	n := len(s.cost)
	for k, j := range s.basis {
		if int(j) >= n {
			a[int(j)-n][k] = 1
			continue
		}
		for _, e := range s.cols[j] {
			a[e.row][k] += e.coef
		}
		for _, e := range s.cols[s.key[s.owner[j]]] {
			a[e.row][k] -= e.coef
		}
	}
	for k := range m {
		p := k
		for r := k + 1; r < m; r++ {
			if math.Abs(a[r][k]) > math.Abs(a[p][k]) {
				p = r
			}
		}
		if math.Abs(a[p][k]) < 1e-9 {
			s.crash()
			return
		}
		a[k], a[p] = a[p], a[k]
		inverse := 1 / a[k][k]
		for c := k; c < 2*m; c++ {
			a[k][c] *= inverse
		}
		for r := range a {
			v := a[r][k]
			if r == k || v == 0 {
				continue
			}
			for c := k; c < 2*m; c++ {
				if a[k][c] != 0 {
					a[r][c] -= float64(v * a[k][c])
				}
			}
		}
	}
	for k := range a {
		copy(s.inv[k], a[k][m:])
	}
	s.pivots = 0
}

// A snapshot is a basis to come back to.
type snapshot struct {
	key, basis []int32
	inv        [][]float64
}

func (s *simplex) save() *snapshot {
	m := len(s.rows)
	c := &snapshot{
		key:   append([]int32(nil), s.key...),
		basis: append([]int32(nil), s.basis...),
		inv:   make([][]float64, m),
	}
	cells := make([]float64, m*m)
	for k := range c.inv {
		c.inv[k], cells = cells[:m:m], cells[m:]
		copy(c.inv[k], s.inv[k])
	}
	return c
}

// restore returns to a saved basis; rows added since come in with their slacks.
func (s *simplex) restore(c *snapshot) {
	s.unplace()
	copy(s.key, c.key)
	for _, j := range s.key {
		s.place[j] = isKey
	}
	for r := range s.slack {
		s.slack[r] = nonbasic
	}
	m := len(c.basis)
	for k, j := range c.basis {
		s.basis[k] = j
		if int(j) < len(s.cost) {
			s.place[j] = int32(k)
		} else {
			s.slack[int(j)-len(s.cost)] = int32(k)
		}
		copy(s.inv[k], c.inv[k])
		for x := m; x < len(s.rows); x++ {
			s.inv[k][x] = 0
		}
	}
	for r := m; r < len(s.rows); r++ {
		s.enter(r)
	}
}

// dropRow takes out a row whose slack is in the basis. That slack's column of the
// basis is a unit vector, so the inverse only loses a line and a column.
func (s *simplex) dropRow(r int) {
	k := int(s.slack[r])
	n := len(s.cost)
	s.rows = append(s.rows[:r:r], s.rows[r+1:]...)
	s.lines = append(s.lines[:r], s.lines[r+1:]...)
	s.slack = append(s.slack[:r], s.slack[r+1:]...)
	s.pi = append(s.pi[:r], s.pi[r+1:]...)
	s.basis = append(s.basis[:k], s.basis[k+1:]...)
	s.x = append(s.x[:k], s.x[k+1:]...)
	s.inv = append(s.inv[:k], s.inv[k+1:]...)
	s.w = s.w[:len(s.rows)]
	s.ray = s.ray[:len(s.rows)]
	for p := range s.inv {
		s.inv[p] = append(s.inv[p][:r], s.inv[p][r+1:]...)
	}
	for j := range s.cols {
		col := s.cols[j][:0]
		for _, e := range s.cols[j] {
			if int(e.row) > r {
				e.row--
				col = append(col, e)
			} else if int(e.row) < r {
				col = append(col, e)
			}
		}
		s.cols[j] = col
		if int(s.place[j]) > k {
			s.place[j]--
		}
	}
	for p, j := range s.basis {
		if int(j) > n+r {
			s.basis[p] = j - 1
		}
	}
	for x := range s.slack {
		if int(s.slack[x]) > k {
			s.slack[x]--
		}
	}
}
