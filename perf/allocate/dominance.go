package allocate

// undominated drops options that another option of the same sortie makes
// needless: b makes a needless if b takes no more of any constraint and is better
// in the objective, level after level, or equal in all and preferred in the tie.
// Exchanging a for b in any plan then gives a plan that is feasible and better, so
// the best plan never holds a.
//
// Units come before margins in the objective: once two units from a lot will do,
// four from the same lot never enter the search.
func (m *model) undominated(i, g int, set []option) []option {
	use := make([]map[base]int64, len(set))
	val := make([][]int64, len(set))
	for k, o := range set {
		use[k] = usage(m.p, i, g, o)
		for _, name := range m.names {
			val[k] = append(val[k], levelValue(m.p, name, i, o))
		}
	}
	var kept []option
	for a := range set {
		needless := false
		for b := range set {
			if a != b && dominates(set[b], set[a], use[b], use[a], val[b], val[a], b < a) {
				needless = true
				break
			}
		}
		if !needless {
			kept = append(kept, set[a])
		}
	}
	return kept
}

func dominates(b, a option, useB, useA map[base]int64, valB, valA []int64, preferred bool) bool {
	if b.units > a.units || (b.units > 0 && b.slot != a.slot) {
		return false
	}
	for k := range valB {
		if valB[k] != valA[k] {
			if valB[k] < valA[k] {
				return false
			}
			preferred = true
			break
		}
	}
	if !preferred {
		return false
	}
	for c, n := range useB {
		if n > useA[c] {
			return false
		}
	}
	return true
}
