package allocate

import (
	"fmt"
	"strings"
)

// A Violation is one thing wrong with a problem.
type Violation struct {
	Path  string // the field, as "Sorties[3].Fits[0].Draws[1].Lot"
	Value string // what was found there
	Rule  string // what is allowed and what to do
	// Sortie is the index of the only sortie that is affected, -1 when the fault
	// spoils the whole problem. See [Salvage].
	Sortie int
}

func (v Violation) String() string {
	return fmt.Sprintf("%s is %s: %s", v.Path, v.Value, v.Rule)
}

// An InvalidError lists everything that is wrong with a problem.
type InvalidError struct{ Violations []Violation }

func (e *InvalidError) Error() string {
	lines := make([]string, 0, len(e.Violations)+1)
	lines = append(lines, fmt.Sprintf("allocate: %d violations", len(e.Violations)))
	for _, v := range e.Violations {
		lines = append(lines, v.String())
	}
	return strings.Join(lines, "\n  ")
}

// Validate returns every violation of the problem, in the order of its fields.
func Validate(p *Problem) []Violation {
	c := checker{p: p, sortie: -1}
	c.sites()
	c.lots()
	c.transfers()
	c.groups()
	c.sorties()
	return c.found
}

// Salvage returns a copy of the problem in which every sortie at fault has lost
// its fits (it will be held, the rest can be planned), with the violations that
// were met. It returns an *InvalidError where a fault spoils the whole problem.
func Salvage(p *Problem) (*Problem, []Violation, error) {
	found := Validate(p)
	out := *p
	out.Sorties = append([]Sortie(nil), p.Sorties...)
	var whole []Violation
	for _, v := range found {
		if v.Sortie < 0 {
			whole = append(whole, v)
			continue
		}
		s := &out.Sorties[v.Sortie]
		s.Fits, s.Group, s.Spot, s.Must = nil, "", "", false
	}
	if whole == nil {
		// What a held sortie still carries (its site, its time) may be at fault too.
		for _, v := range Validate(&out) {
			if v.Sortie >= 0 {
				s := &out.Sorties[v.Sortie]
				s.Site, s.Priority, s.HalfSpanMM = 0, 0, 0
				if v.Sortie > 0 {
					s.LaunchS = out.Sorties[v.Sortie-1].LaunchS
				}
				s.ID = fmt.Sprintf("%s (sortie %d)", s.ID, v.Sortie)
			}
		}
		whole = Validate(&out)
	}
	if whole != nil {
		return nil, found, &InvalidError{whole}
	}
	return &out, found, nil
}

type checker struct {
	p      *Problem
	sortie int
	found  []Violation
}

func (c *checker) fail(path string, value any, rule string) {
	v := fmt.Sprint(value)
	if s, ok := value.(string); ok {
		v = fmt.Sprintf("%q", s)
	}
	c.found = append(c.found, Violation{path, v, rule, c.sortie})
}

func (c *checker) within(path string, value, low, high int64) {
	if value < low || value > high {
		c.fail(path, value, fmt.Sprintf("must be from %d to %d", low, high))
	}
}

// unique notes id in seen and complains about an empty or repeated one.
func (c *checker) unique(path, id string, seen map[string]int, index int) {
	if id == "" {
		c.fail(path, id, "must not be empty")
		return
	}
	if first, ok := seen[id]; ok {
		c.fail(path, id, fmt.Sprintf("must be unique; index %d has it already", first))
		return
	}
	seen[id] = index
}

func (c *checker) sites() {
	seen := map[string]int{}
	for i := range c.p.Sites {
		s := &c.p.Sites[i]
		path := fmt.Sprintf("Sites[%d]", i)
		c.unique(path+".ID", s.ID, seen, i)
		c.within(path+".Reserve", int64(s.Reserve), 0, MaxUnits*MaxLots)
		if s.Crews == nil {
			continue
		}
		path += ".Crews"
		c.within(path+".Teams", int64(s.Crews.Teams), 0, 10_000)
		c.within(path+".UnitS", s.Crews.UnitS, 1, 1_000_000)
		c.within(path+".HoldMinS", s.Crews.HoldMinS, 0, 100_000_000)
		if s.Crews.HoldMaxS < s.Crews.HoldMinS || s.Crews.HoldMaxS > 100_000_000 {
			c.fail(path+".HoldMaxS", s.Crews.HoldMaxS,
				fmt.Sprintf("must be from HoldMinS (%d) to 100000000: no unit can be fitted in an empty window", s.Crews.HoldMinS))
		}
	}
}

func (c *checker) site(path string, site int) bool {
	if n := len(c.p.sites()); site < 0 || site >= n {
		c.fail(path, site, fmt.Sprintf("unknown site; there are %d, counted from 0", n))
		return false
	}
	return true
}

func (c *checker) lots() {
	if n := len(c.p.Lots); n > MaxLots {
		c.fail("len(Lots)", n, fmt.Sprintf("must be at most %d; join lots that serve alike", MaxLots))
	}
	seen := map[string]int{}
	for i := range c.p.Lots {
		l := &c.p.Lots[i]
		path := fmt.Sprintf("Lots[%d]", i)
		c.unique(path+".ID", l.ID, seen, i)
		c.site(path+".Site", l.Site)
		c.within(path+".Available", int64(l.Available), 0, MaxUnits)
		c.within(path+".Reserve", int64(l.Reserve), 0, MaxUnits)
		c.within(path+".ExpiryRank", int64(l.ExpiryRank), 0, MaxRank)
	}
}

func (c *checker) transfers() {
	type way struct{ lot, to int }
	seen := map[way]int{}
	for i := range c.p.Transfers {
		t := &c.p.Transfers[i]
		path := fmt.Sprintf("Transfers[%d]", i)
		ok := c.site(path+".From", t.From)
		ok = c.site(path+".To", t.To) && ok
		if t.From == t.To {
			c.fail(path+".To", t.To, "must differ from From")
		}
		c.within(path+".MaxUnits", int64(t.MaxUnits), 0, MaxUnits*MaxLots)
		c.within(path+".ArriveS", t.ArriveS, -MaxTimeS, MaxTimeS)
		if t.Lot < -1 || t.Lot >= len(c.p.Lots) {
			c.fail(path+".Lot", t.Lot, fmt.Sprintf("unknown lot; there are %d, counted from 0, and -1 means any", len(c.p.Lots)))
			continue
		}
		if !ok {
			continue
		}
		if t.Lot >= 0 && c.p.Lots[t.Lot].Site != t.From {
			c.fail(path+".Lot", t.Lot, fmt.Sprintf("is kept at site %d, not at From (%d)", c.p.Lots[t.Lot].Site, t.From))
			continue
		}
		for l := range c.p.Lots {
			if c.p.Lots[l].Site != t.From || (t.Lot >= 0 && t.Lot != l) {
				continue
			}
			if first, twice := seen[way{l, t.To}]; twice {
				c.fail(path, l, fmt.Sprintf("lot already comes to site %d by Transfers[%d]; join the two", t.To, first))
				break
			}
			seen[way{l, t.To}] = i
		}
	}
}

func (c *checker) sorties() {
	if n := len(c.p.Sorties); n > MaxSorties {
		c.fail("len(Sorties)", n, fmt.Sprintf("must be at most %d; plan the queue in several cycles", MaxSorties))
	}
	seen := map[string]int{}
	last := map[int]int{} // site -> its latest sortie so far
	for i := range c.p.Sorties {
		s := &c.p.Sorties[i]
		c.sortie = i
		path := fmt.Sprintf("Sorties[%d]", i)
		c.unique(path+".ID", s.ID, seen, i)
		c.within(path+".Priority", int64(s.Priority), 0, MaxPriority)
		c.within(path+".LaunchS", s.LaunchS, -MaxTimeS, MaxTimeS)
		c.within(path+".HalfSpanMM", s.HalfSpanMM, 0, 1_000_000)
		if c.site(path+".Site", s.Site) {
			if before, ok := last[s.Site]; ok && c.p.Sorties[before].LaunchS > s.LaunchS {
				c.fail(path+".LaunchS", s.LaunchS, fmt.Sprintf(
					"sorties come in launch order; Sorties[%d] of the same site launches at %d", before, c.p.Sorties[before].LaunchS))
			} else {
				last[s.Site] = i
			}
		}
		group := c.p.group(s.Group)
		if s.Group != "" && group == nil {
			c.fail(path+".Group", s.Group, "unknown group; name one of Groups or leave it empty")
		}
		if group != nil && s.Spot != "" && group.spot(s.Spot) == nil {
			c.fail(path+".Spot", s.Spot, fmt.Sprintf("unknown spot of group %q", s.Group))
		}
		c.fits(path, s, group)
	}
	c.sortie = -1
}

func (c *checker) fits(path string, s *Sortie, group *Group) {
	if n := len(s.Fits); n > MaxFits {
		c.fail("len("+path+".Fits)", n, fmt.Sprintf("must be at most %d", MaxFits))
	}
	seen := map[string]int{}
	for f := range s.Fits {
		fit := &s.Fits[f]
		fpath := fmt.Sprintf("%s.Fits[%d]", path, f)
		c.unique(fpath+".ID", fit.ID, seen, f)
		c.within(fpath+".MarginMM", fit.MarginMM, -1_000_000_000, 1_000_000_000)
		if group != nil && group.spot(fit.Spot) == nil {
			c.fail(fpath+".Spot", fit.Spot, fmt.Sprintf("must name a spot of group %q", s.Group))
		}
		drawn := map[int]bool{}
		for d, draw := range fit.Draws {
			dpath := fmt.Sprintf("%s.Draws[%d]", fpath, d)
			c.within(dpath+".Units", int64(draw.Units), 1, MaxUnits)
			switch {
			case draw.Lot < 0 || draw.Lot >= len(c.p.Lots):
				c.fail(dpath+".Lot", draw.Lot, fmt.Sprintf("unknown lot; there are %d, counted from 0", len(c.p.Lots)))
			case drawn[draw.Lot]:
				c.fail(dpath+".Lot", draw.Lot, "drawn twice in one fit; join the draws")
			}
			drawn[draw.Lot] = true
		}
	}
}
