package allocate

import (
	"slices"
	"sort"
)

// A calendar holds the distinct launch times of one site in order; its slots are
// what crew windows run over. A window [a, b] asks
//
//	p * (units fitted to launches in slots a..b) <= K * ((t_b - hold_min) - (t_a - hold_max)),
//
// and windows between distinct times imply those between sorties.
type calendar struct {
	crews *Crews
	times []int64
}

func newCalendars(p *Problem) []calendar {
	cal := make([]calendar, len(p.sites()))
	for k, site := range p.sites() {
		cal[k].crews = site.Crews
	}
	for i := range p.Sorties {
		s := &p.Sorties[i]
		c := &cal[s.Site]
		if c.crews == nil {
			continue
		}
		if s.Group == "" {
			c.times = append(c.times, s.LaunchS)
			continue
		}
		for f := range s.Fits {
			c.times = append(c.times, p.launchS(i, s.Fits[f].Spot))
		}
	}
	for k := range cal {
		slices.Sort(cal[k].times)
		cal[k].times = slices.Compact(cal[k].times)
	}
	return cal
}

func (c *calendar) slot(at int64) int {
	s, _ := slices.BinarySearch(c.times, at)
	return s
}

// capacity is the greatest number of units that window [a, b] lets be fitted.
func (c *calendar) capacity(a, b int) int64 {
	return int64(c.crews.Teams) * (c.times[b] - c.crews.HoldMinS - c.times[a] + c.crews.HoldMaxS) / c.crews.UnitS
}

// window is the row of one crew window.
func (m *model) window(site, a, b int) row {
	r := row{base: base{kind: baseCrews, a: site, b: a, c: b}, num: 1, den: 1, level: -1, rhs: m.cal[site].capacity(a, b)}
	for j, o := range m.opts {
		if o.slot >= a && o.slot <= b && m.p.Sorties[m.owner[j]].Site == site {
			r.idx = append(r.idx, int32(j))
			r.coef = append(r.coef, o.units)
		}
	}
	return r.tidied()
}

// A breach is a window that more units crowd than fit.
type breach struct {
	site, a, b int
	by         float64
}

// crowded finds windows that a (fractional) choice x of options breaks by more
// than tolerance, at most a few for each site, the worst first and no two of them
// overlapping. step is the divisor that all counts of units share: capacity above
// a multiple of it is of no use.
func (m *model) crowded(x []float64, step int64, tolerance float64) []breach {
	var found []breach
	for site := range m.cal {
		c := &m.cal[site]
		n := len(c.times)
		if n == 0 {
			continue
		}
		load := make([]float64, n+1)
		for j, v := range x {
			if o := &m.opts[j]; o.slot >= 0 && v != 0 && m.p.Sorties[m.owner[j]].Site == site {
				load[o.slot+1] += float64(v * float64(o.units))
			}
		}
		for s := 0; s < n; s++ {
			load[s+1] += load[s]
		}
		var worst []breach
		k, p := float64(c.crews.Teams), float64(c.crews.UnitS)
		hold := float64(c.crews.HoldMaxS - c.crews.HoldMinS)
		for b := 0; b < n; b++ {
			at := breach{site, 0, b, tolerance}
			for a := b; a >= 0; a-- {
				sum := load[b+1] - load[a]
				if float64(p*(sum+float64(step))) <= float64(k*(float64(c.times[b]-c.times[a])+hold)) {
					continue
				}
				room := c.capacity(a, b)
				if by := sum - float64(room-room%step); by > at.by {
					at.a, at.by = a, by
				}
			}
			if at.by > tolerance {
				worst = append(worst, at)
			}
		}
		sort.SliceStable(worst, func(i, j int) bool { return worst[i].by > worst[j].by })
		taken := 0
		for i, w := range worst {
			apart := true
			for _, v := range worst[:i] {
				if v.by > 0 && w.a <= v.b && v.a <= w.b {
					apart = false
				}
			}
			if !apart {
				worst[i].by = 0
				continue
			}
			found = append(found, w)
			if taken++; taken == 8 {
				break
			}
		}
	}
	return found
}

// crewsKept checks all windows of an integral choice exactly. The worst window
// ending at b starts where p*units(before a) - K*t_a is least, so one pass does.
func (m *model) crewsKept(choice []int32) bool {
	for site := range m.cal {
		c := &m.cal[site]
		if len(c.times) == 0 {
			continue
		}
		load := make([]int64, len(c.times))
		for _, j := range choice {
			if o := &m.opts[j]; o.slot >= 0 && m.p.Sorties[m.owner[j]].Site == site {
				load[o.slot] += o.units
			}
		}
		k, p := int64(c.crews.Teams), c.crews.UnitS
		room := k * (c.crews.HoldMaxS - c.crews.HoldMinS)
		before, sum := int64(0), int64(0)
		for s, n := range load {
			start := p*sum - k*c.times[s]
			if s == 0 || start < before {
				before = start
			}
			sum += n
			if p*sum-k*c.times[s]-before > room {
				return false
			}
		}
	}
	return true
}
