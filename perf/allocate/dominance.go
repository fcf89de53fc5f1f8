package allocate

import "slices"

// undominated drops options that another option of the same sortie makes
// needless: b makes a needless if b takes no more of any constraint and is better
// in the objective, level after level, or equal in all and preferred in the tie.
// Exchanging a for b in any plan then gives a plan that is feasible and better, so
// the best plan never holds a.
//
// Units come before margins in the objective: once two units from a lot will do,
// four from the same lot never enter the search.
//
// Taken from the best to the worst, an option only has to be held against those
// that stay: who is replaced by a replaced one is replaced by its replacement too.
func (m *model) undominated(i, g int, set []option) []option {
	type candidate struct {
		at    int // in set
		use   map[base]int64
		value []int64
	}
	all := make([]candidate, len(set))
	for k, o := range set {
		all[k] = candidate{at: k, use: usage(m.p, i, g, o)}
		for _, name := range m.names {
			all[k].value = append(all[k].value, levelValue(m.p, name, i, o))
		}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return slices.Compare(b.value, a.value) })
	var kept []candidate
	for _, c := range all {
		if !slices.ContainsFunc(kept, func(k candidate) bool { return serves(set[k.at], set[c.at], k.use, c.use) }) {
			kept = append(kept, c)
		}
	}
	slices.SortFunc(kept, func(a, b candidate) int { return a.at - b.at })
	out := make([]option, len(kept))
	for k, c := range kept {
		out[k] = set[c.at]
	}
	return out
}

// serves says that b takes no more of any constraint than a.
func serves(b, a option, useB, useA map[base]int64) bool {
	if b.units > a.units || (b.units > 0 && b.slot != a.slot) {
		return false
	}
	for c, n := range useB {
		if n > useA[c] {
			return false
		}
	}
	return true
}
