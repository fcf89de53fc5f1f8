package allocate

import (
	"fmt"
	"strings"
)

// groups checks spots, neighbours and what stands behind what.
func (c *checker) groups() {
	c.within("KeepAfter", int64(c.p.KeepAfter), 0, 4)
	sorties := map[string]bool{}
	for i := range c.p.Sorties {
		sorties[c.p.Sorties[i].ID] = true
	}
	seen := map[string]int{}
	for i := range c.p.Groups {
		g := &c.p.Groups[i]
		path := fmt.Sprintf("Groups[%d]", i)
		c.unique(path+".ID", g.ID, seen, i)
		spots := map[string]int{}
		for s := range g.Spots {
			c.unique(fmt.Sprintf("%s.Spots[%d].ID", path, s), g.Spots[s].ID, spots, s)
		}
		for s := range g.Spots {
			c.spot(fmt.Sprintf("%s.Spots[%d]", path, s), g, &g.Spots[s], sorties)
		}
		c.cycle(path, g)
		for n, nb := range g.Neighbours {
			npath := fmt.Sprintf("%s.Neighbours[%d]", path, n)
			if g.spot(nb.A) == nil {
				c.fail(npath+".A", nb.A, "unknown spot of the group")
			}
			if g.spot(nb.B) == nil || nb.A == nb.B {
				c.fail(npath+".B", nb.B, "must be another spot of the group")
			}
			c.within(npath+".GapMM", nb.GapMM, 0, 1_000_000_000)
		}
		c.groupSite(path, g)
	}
}

func (c *checker) spot(path string, g *Group, s *Spot, sorties map[string]bool) {
	if s.LaunchS != nil {
		c.within(path+".LaunchS", *s.LaunchS, -MaxTimeS, MaxTimeS)
	}
	for t, id := range s.Takes {
		if !sorties[id] {
			c.fail(fmt.Sprintf("%s.Takes[%d]", path, t), id, "unknown sortie")
		}
	}
	if s.Behind == "" {
		return
	}
	front := g.spot(s.Behind)
	switch {
	case front == nil:
		c.fail(path+".Behind", s.Behind, "unknown spot of the group")
	case s.LaunchS != nil && front.LaunchS != nil && *front.LaunchS > *s.LaunchS:
		c.fail(path+".LaunchS", *s.LaunchS, fmt.Sprintf("must not be before %d, when spot %q in front launches", *front.LaunchS, front.ID))
	}
}

// cycle complains once for each ring of spots that stand behind one another.
func (c *checker) cycle(path string, g *Group) {
	done := map[string]bool{}
	for s := range g.Spots {
		var chain []string
		at := map[string]int{}
		for sp := &g.Spots[s]; sp != nil && !done[sp.ID]; sp = g.spot(sp.Behind) {
			if first, ok := at[sp.ID]; ok {
				ring := append(chain[first:], sp.ID)
				c.fail(fmt.Sprintf("%s.Spots[%d].Behind", path, s), sp.Behind,
					"spots stand behind one another in a ring ("+strings.Join(ring, " behind ")+"); break it")
				break
			}
			at[sp.ID] = len(chain)
			chain = append(chain, sp.ID)
		}
		for _, id := range chain {
			done[id] = true
		}
	}
}

// groupSite wants the sorties of a group at one site: spots belong to one deck.
func (c *checker) groupSite(path string, g *Group) {
	site := -1
	for i := range c.p.Sorties {
		s := &c.p.Sorties[i]
		switch {
		case s.Group != g.ID:
		case site < 0:
			site = s.Site
		case s.Site != site:
			c.sortie = i
			c.fail(fmt.Sprintf("Sorties[%d].Site", i), s.Site, fmt.Sprintf("group %q (%s) is at site %d", g.ID, path, site))
			c.sortie = -1
		}
	}
}
