package allocate

import (
	"slices"
	"sort"
)

// buildRows writes every constraint but the crew windows, which are many and
// are added where they matter (crews.go).
func (m *model) buildRows(groups map[string]int) {
	p := m.p
	type entry struct {
		j    int32
		coef int64
	}
	at := map[base][]entry{}
	rhs := map[base]int64{}
	put := func(b base, j int, coef int64) { at[b] = append(at[b], entry{int32(j), coef}) }

	left := make([]int64, len(p.sites()))
	for l := range p.Lots {
		lot := &p.Lots[l]
		rhs[base{kind: baseLot, a: l}] = max(0, int64(lot.Available-lot.Reserve))
		left[lot.Site] += int64(lot.Available)
	}
	for k, site := range p.sites() {
		// Without a reserve the lots' own rows say it already.
		if site.Reserve > 0 {
			rhs[base{kind: baseReserve, a: k}] = max(0, left[k]-int64(site.Reserve))
		}
	}
	for t := range p.Transfers {
		rhs[base{kind: baseTransfer, a: t}] = int64(p.Transfers[t].MaxUnits)
	}
	for g := range p.Groups {
		for s := range p.Groups[g].Spots {
			rhs[base{kind: baseSpot, a: g, b: s}] = 1
			if p.Groups[g].HeldStay && p.Groups[g].Spots[s].Behind != "" {
				rhs[base{kind: baseBehind, a: g, b: s}] = 1
			}
		}
		for n := range p.Groups[g].Neighbours {
			rhs[base{kind: baseNeighbour, a: g, b: n}] = p.Groups[g].Neighbours[n].GapMM
		}
	}
	for j := range m.opts {
		g := -1
		if id := p.Sorties[m.owner[j]].Group; id != "" {
			g = groups[id]
		}
		for b, coef := range usage(p, int(m.owner[j]), g, m.opts[j]) {
			put(b, j, coef)
		}
	}
	bases := make([]base, 0, len(at))
	for b := range at {
		bases = append(bases, b)
	}
	sort.Slice(bases, func(x, y int) bool { return bases[x].before(bases[y]) })
	for _, b := range bases {
		bound, ok := rhs[b]
		if !ok {
			continue
		}
		r := row{base: b, num: 1, den: 1, level: -1, rhs: bound}
		for _, e := range at[b] {
			r.idx = append(r.idx, e.j)
			r.coef = append(r.coef, e.coef)
		}
		if r = r.tidied(); !r.idle(m) {
			m.rows = append(m.rows, r)
		}
	}
}

func (b base) before(c base) bool {
	return slices.Compare([]int{int(b.kind), b.a, b.b, b.c}, []int{int(c.kind), c.a, c.b, c.c}) < 0
}

// usage is what an option takes of each constraint, crew windows aside.
func usage(p *Problem, i, g int, o option) map[base]int64 {
	s := &p.Sorties[i]
	use := map[base]int64{}
	if o.fit != Held {
		at := p.launchS(i, s.Fits[o.fit].Spot)
		for _, d := range s.Fits[o.fit].Draws {
			n := int64(d.Units)
			use[base{kind: baseLot, a: d.Lot}] += n
			use[base{kind: baseReserve, a: p.Lots[d.Lot].Site}] += n
			if p.Lots[d.Lot].Site != s.Site {
				use[base{kind: baseTransfer, a: p.transfer(d.Lot, s.Site, at)}] += n
			}
		}
	}
	if o.spot < 0 {
		return use
	}
	group := &p.Groups[g]
	id := group.Spots[o.spot].ID
	use[base{kind: baseSpot, a: g, b: o.spot}] = 1
	for n, nb := range group.Neighbours {
		if nb.A == id || nb.B == id {
			use[base{kind: baseNeighbour, a: g, b: n}] = s.HalfSpanMM
		}
	}
	if !group.HeldStay {
		return use
	}
	for sp := range group.Spots {
		behind := group.Spots[sp].Behind
		if (o.fit != Held && sp == o.spot && behind != "") || (o.fit == Held && behind == id) {
			use[base{kind: baseBehind, a: g, b: sp}] = 1
		}
	}
	return use
}

// rounded is the row multiplied by num/den and rounded down on both sides.
func (r *row) rounded(num, den int64) row {
	out := row{base: r.base, num: r.num * num, den: r.den * den, level: r.level, rhs: floorDiv(r.rhs*num, den)}
	for k, c := range r.coef {
		if c = floorDiv(c*num, den); c != 0 {
			out.idx = append(out.idx, r.idx[k])
			out.coef = append(out.coef, c)
		}
	}
	return out
}

// tidied is the row divided by what its coefficients have in common.
func (r *row) tidied() row {
	g := int64(0)
	for _, c := range r.coef {
		g = gcd(g, c)
	}
	if g <= 1 {
		return *r
	}
	return r.rounded(1, g)
}

// idle says that no choice of one option for each sortie can break the row.
func (r *row) idle(m *model) bool {
	worst := map[int32]int64{}
	for k, j := range r.idx {
		i := m.owner[j]
		worst[i] = max(worst[i], r.coef[k])
	}
	sum := int64(0)
	for _, w := range worst {
		sum += w
	}
	return sum <= r.rhs
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return max(a, -a)
}
