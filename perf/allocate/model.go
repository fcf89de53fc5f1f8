package allocate

// An option is one thing that can become of a sortie: launched with a fit, or
// held (on a spot, where held aircraft stay in their group).
type option struct {
	fit   int // index into the sortie's fits, or Held
	spot  int // index into the group's spots, or -1
	slot  int // launch time in the crews' calendar, -1 without units or crews
	units int64
}

// A row is a linear constraint, sum of coef*x <= rhs, over the options. Rows come
// from the problem (base) by integer rounding: for any fraction num/den >= 0,
// integers x >= 0 with sum a*x <= b also keep
//
//	sum floor(a*num/den)*x <= floor(b*num/den).
//
// With den the greatest common divisor of the coefficients this only tidies up
// ("nine units are four pairs"); with larger ones it is a cutting plane.
type row struct {
	id       int // in the pool of all rows
	base     base
	num, den int64
	blend    *blend // for a cutting plane (cuts.go)
	level    int    // the last level that it takes as held at its value, or -1
	idx      []int32
	coef     []int64
	rhs      int64
}

// A base names the constraint of the problem that a row comes from.
type base struct {
	kind baseKind
	a, b int // see the kinds
	// c is the second slot of a crew window.
	c int
}

type baseKind int

const (
	baseLot       baseKind = iota // a: lot
	baseReserve                   // a: site
	baseTransfer                  // a: transfer
	baseSpot                      // a: group, b: spot
	baseNeighbour                 // a: group, b: neighbour
	baseBehind                    // a: group, b: spot behind
	baseCrews                     // a: site, b: first slot, c: last slot
	baseLevel                     // a: level held at its value
	baseBlend                     // of other rows
)

// A model is the problem as sets of options (exactly one of each set is taken)
// and rows over them.
type model struct {
	p      *Problem
	first  []int32  // options of sortie i are first[i] up to first[i+1]
	owner  []int32  // sortie of an option
	opts   []option // in order of preference within a sortie
	rows   []row    // all but crew windows and levels
	levels [][]int64
	names  []string
	cal    []calendar // one for each site
}

// newModel lists the options of every sortie that are possible on their own and
// the rows over them.
func newModel(p *Problem, reduce bool) *model {
	m := &model{p: p, names: p.levelNames(), cal: newCalendars(p)}
	groups := map[string]int{}
	for g := range p.Groups {
		groups[p.Groups[g].ID] = g
	}
	m.first = append(m.first, 0)
	for i := range p.Sorties {
		g := -1
		if id := p.Sorties[i].Group; id != "" {
			g = groups[id]
		}
		set := m.options(i, g)
		if reduce {
			set = m.undominated(i, g, set)
		}
		for _, o := range set {
			m.owner = append(m.owner, int32(i))
			m.opts = append(m.opts, o)
		}
		m.first = append(m.first, int32(len(m.opts)))
	}
	m.buildLevels()
	m.buildRows(groups)
	return m
}

// options lists what can become of sortie i, best tie-break first, leaving out
// fits that no plan could use because of stock, transfers or crews.
func (m *model) options(i, g int) []option {
	p, s := m.p, &m.p.Sorties[i]
	var set []option
	for f := range s.Fits {
		fit := &s.Fits[f]
		o := option{fit: f, spot: -1, slot: -1, units: int64(fit.Units())}
		if g >= 0 {
			o.spot = spotIndex(&p.Groups[g], fit.Spot)
			if !p.Groups[g].Spots[o.spot].takes(s.ID) {
				continue
			}
		}
		at := p.launchS(i, fit.Spot)
		if m.obstacle(s.Site, fit, at) != "" {
			continue
		}
		if c := p.sites()[s.Site].Crews; c != nil && o.units > 0 {
			o.slot = m.cal[s.Site].slot(at)
		}
		set = append(set, o)
	}
	if s.Must {
		return set
	}
	if g >= 0 && p.Groups[g].HeldStay {
		for sp := range p.Groups[g].Spots {
			if p.Groups[g].Spots[sp].takes(s.ID) {
				set = append(set, option{fit: Held, spot: sp, slot: -1})
			}
		}
		return set
	}
	return append(set, option{fit: Held, spot: -1, slot: -1})
}

// obstacle says why no plan at all can use a fit, or "".
func (m *model) obstacle(site int, fit *Fit, at int64) string {
	p := m.p
	n := int64(0)
	for _, d := range fit.Draws {
		lot := &p.Lots[d.Lot]
		if d.Units > lot.Available-lot.Reserve {
			return "stock"
		}
		if lot.Site != site {
			t := p.transfer(d.Lot, site, at)
			if t < 0 || d.Units > p.Transfers[t].MaxUnits {
				return "transfer"
			}
		}
		n += int64(d.Units)
	}
	if c := p.sites()[site].Crews; c != nil && n > 0 && c.UnitS*n > int64(c.Teams)*(c.HoldMaxS-c.HoldMinS) {
		return "crews"
	}
	return ""
}

func spotIndex(g *Group, id string) int {
	for s := range g.Spots {
		if g.Spots[s].ID == id {
			return s
		}
	}
	return -1
}

// levelValue is what option o of sortie i adds to a level, all levels counted so
// that greater is better.
func levelValue(p *Problem, name string, i int, o option) int64 {
	s := &p.Sorties[i]
	if o.fit == Held {
		if name == "kept" && s.Keep == "" {
			return 1
		}
		return 0
	}
	f := &s.Fits[o.fit]
	switch name {
	case "priority":
		return int64(s.Priority)
	case "units":
		return -o.units
	case "expiry_rank":
		sum := int64(0)
		for _, d := range f.Draws {
			sum += int64(d.Units) * int64(p.Lots[d.Lot].ExpiryRank)
		}
		return -sum
	case "margin_mm":
		return min(f.MarginMM, MarginCapMM)
	}
	if s.Keep == f.ID {
		return 1
	}
	return 0
}

func (m *model) buildLevels() {
	for _, name := range m.names {
		v := make([]int64, len(m.opts))
		for j := range v {
			v[j] = levelValue(m.p, name, int(m.owner[j]), m.opts[j])
		}
		m.levels = append(m.levels, v)
	}
}
