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
	for j := range s.place {
		s.place[j] = nonbasic
	}
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
