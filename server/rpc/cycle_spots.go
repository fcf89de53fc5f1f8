package rpc

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// groupOf is the group of that name, or nil.
func groupOf(c *bowrollv1.Cycle, id string) *bowrollv1.SpotGroup {
	for _, g := range c.GetGroups() {
		if id != "" && g.GetId() == id {
			return g
		}
	}
	return nil
}

// spotOf is the spot of a group, or nil.
func spotOf(g *bowrollv1.SpotGroup, id string) *bowrollv1.GroupSpot {
	for _, s := range g.GetSpots() {
		if id != "" && s.GetSpot() == id {
			return s
		}
	}
	return nil
}

// deckSpot is the spot of a deck, or nil.
func deckSpot(d *bowrollv1.Deck, id string) *bowrollv1.Spot {
	for _, s := range d.GetSpots() {
		if s.GetId() == id {
			return s
		}
	}
	return nil
}

// longest is the longest run that any spot of a group has.
func longest(d *bowrollv1.Deck, g *bowrollv1.SpotGroup) float64 {
	most := 0.0
	for _, s := range g.GetSpots() {
		most = max(most, deckSpot(d, s.GetSpot()).GetAvailableM())
	}
	return most
}

// checkGroups judges groups against the deck, the sorties and themselves.
func checkGroups(rc *resolvedCycle, f *faults) {
	if rc.deck == nil {
		return
	}
	c := rc.cycle
	taken := map[string]string{} // spot -> path of the group that has it
	seen := map[string]int{}
	for i, g := range c.GetGroups() {
		path := "groups[" + strconv.Itoa(i) + "]"
		if first, again := seen[g.GetId()]; again {
			f.add(path+".id", strconv.Quote(g.GetId()), "unique", "an id of its own", "groups["+strconv.Itoa(first)+"] has it")
		} else {
			seen[g.GetId()] = i
		}
		checkGroupSpots(rc.deck, g, path, taken, f)
		checkRing(g, path, f)
		checkNeighbours(g, path, f)
		sorties := 0
		for _, s := range c.GetSorties() {
			if s.GetGroup() == g.GetId() {
				sorties++
			}
		}
		if g.GetHeldStay() && sorties > len(g.GetSpots()) {
			f.add(path+".held_stay", "true", "room", "at most "+strconv.Itoa(len(g.GetSpots()))+" sorties, as many as there are spots",
				strconv.Itoa(sorties)+" sorties name the group, and each needs a spot whether it launches or not")
		}
	}
	checkMembers(c, f)
}

func checkGroupSpots(d *bowrollv1.Deck, g *bowrollv1.SpotGroup, path string, taken map[string]string, f *faults) {
	var known []string
	for _, s := range d.GetSpots() {
		known = append(known, s.GetId())
	}
	for j, s := range g.GetSpots() {
		at := path + ".spots[" + strconv.Itoa(j) + "]"
		if !slices.Contains(known, s.GetSpot()) {
			f.unknown(at+".spot", s.GetSpot(), known, "a spot of "+d.GetName())
			continue
		}
		if where, again := taken[s.GetSpot()]; again {
			f.add(at+".spot", strconv.Quote(s.GetSpot()), "unique", "a spot of one group, once", where+" has it")
			continue
		}
		taken[s.GetSpot()] = at
		if s.GetBehind() == "" {
			continue
		}
		front := spotOf(g, s.GetBehind())
		switch {
		case front == nil:
			f.add(at+".behind", strconv.Quote(s.GetBehind()), "known", "a spot of the group", "")
		case s.LaunchS == nil || front.LaunchS == nil:
			f.add(at+".launch_s", "", "goes-with", "given for both spots",
				"it stands behind "+s.GetBehind()+": their places decide who launches first")
		case s.GetLaunchS() < front.GetLaunchS():
			f.add(at+".launch_s", number(s.GetLaunchS()), "order", "at least "+number(front.GetLaunchS())+", the time of the spot in front", "")
		}
	}
}

// checkRing refuses spots that stand behind one another in a ring, each once.
func checkRing(g *bowrollv1.SpotGroup, path string, f *faults) {
	done := map[string]bool{}
	for j, s := range g.GetSpots() {
		var chain []string
		for at := s; at != nil && !done[at.GetSpot()]; at = spotOf(g, at.GetBehind()) {
			if k := slices.Index(chain, at.GetSpot()); k >= 0 {
				f.add(path+".spots["+strconv.Itoa(j)+"].behind", strconv.Quote(s.GetBehind()), "ring", "spots one behind another, up to a first",
					"they go round: "+strings.Join(append(slices.Clone(chain[k:]), at.GetSpot()), " behind "))
				break
			}
			chain = append(chain, at.GetSpot())
		}
		for _, id := range chain {
			done[id] = true
		}
	}
}

func checkNeighbours(g *bowrollv1.SpotGroup, path string, f *faults) {
	for k, n := range g.GetNeighbours() {
		at := path + ".neighbours[" + strconv.Itoa(k) + "]"
		if spotOf(g, n.GetSpot()) == nil {
			f.add(at+".spot", strconv.Quote(n.GetSpot()), "known", "a spot of the group", "")
		}
		switch {
		case spotOf(g, n.GetOther()) == nil:
			f.add(at+".other", strconv.Quote(n.GetOther()), "known", "a spot of the group", "")
		case n.GetOther() == n.GetSpot():
			f.add(at+".other", strconv.Quote(n.GetOther()), "pair", "another spot of the group", "")
		}
	}
}

// checkMembers judges what the sorties say of groups.
func checkMembers(c *bowrollv1.Cycle, f *faults) {
	var known []string
	for _, g := range c.GetGroups() {
		known = append(known, g.GetId())
	}
	stands := map[string]string{}
	for i, s := range c.GetSorties() {
		if s.GetGroup() == "" {
			continue
		}
		path := "sorties[" + strconv.Itoa(i) + "]"
		g := groupOf(c, s.GetGroup())
		switch {
		case g == nil:
			f.unknown(path+".group", s.GetGroup(), known, "name a group of the cycle or leave it out")
		case s.GetSpot() != "" && spotOf(g, s.GetSpot()) == nil:
			f.add(path+".spot", strconv.Quote(s.GetSpot()), "known", "a spot of the group "+g.GetId(), "or leave it out: the plan finds one")
		case s.GetSpot() != "" && stands[s.GetSpot()] != "":
			f.add(path+".spot", strconv.Quote(s.GetSpot()), "unique", "a spot of its own", stands[s.GetSpot()]+" stands there")
		case s.GetSpot() != "":
			stands[s.GetSpot()] = s.GetId()
		}
	}
}

// placesOf lists where a sortie may stand.
func (rc *resolvedCycle) placesOf(s *resolvedSortie, g *bowrollv1.SpotGroup) []place {
	if g == nil {
		return []place{{spot: s.sortie.GetSpot(), at: s.base, launchS: s.sortie.GetLaunchS()}}
	}
	var list []place
	span := s.sortie.GetAircraft().GetSpanM()
	for _, spot := range g.GetSpots() {
		on := deckSpot(rc.deck, spot.GetSpot())
		if on.WidestSpanM != nil && span > on.GetWidestSpanM() {
			continue
		}
		at := *s.base
		at.Available = on.GetAvailableM()
		p := place{spot: spot.GetSpot(), at: &at, launchS: s.sortie.GetLaunchS()}
		if spot.LaunchS != nil {
			p.launchS = spot.GetLaunchS()
		}
		list = append(list, p)
	}
	return list
}

// millimetres rounds down: what there is.
func millimetres(m float64) int64 { return int64(math.Floor(m * 1000)) }

// spotGroups puts the groups of a cycle into the allocation's form. prefix goes
// before every name; offsetS is what launch times of the cycle are ahead by.
func (rc *resolvedCycle) spotGroups(prefix string, offsetS int64) []allocate.Group {
	var list []allocate.Group
	for _, g := range rc.cycle.GetGroups() {
		out := allocate.Group{ID: prefix + g.GetId(), HeldStay: g.GetHeldStay()}
		for _, spot := range g.GetSpots() {
			s := allocate.Spot{ID: spot.GetSpot(), Behind: spot.GetBehind(), Takes: []string{}}
			if spot.LaunchS != nil {
				at := int64(math.Floor(spot.GetLaunchS())) + offsetS
				s.LaunchS = &at
			}
			for _, so := range rc.sorties {
				if so.sortie.GetGroup() == g.GetId() && slices.ContainsFunc(so.places, func(p place) bool { return p.spot == spot.GetSpot() }) {
					s.Takes = append(s.Takes, prefix+so.sortie.GetId())
				}
			}
			out.Spots = append(out.Spots, s)
		}
		neighbours := g.GetNeighbours()
		if len(neighbours) == 0 {
			neighbours = rc.deck.GetNeighbours()
		}
		for _, n := range neighbours {
			if spotOf(g, n.GetSpot()) != nil && spotOf(g, n.GetOther()) != nil {
				out.Neighbours = append(out.Neighbours, allocate.Neighbour{
					A: n.GetSpot(), B: n.GetOther(), GapMM: max(0, millimetres(n.GetCentreLinesM()-n.GetClearanceM())),
				})
			}
		}
		list = append(list, out)
	}
	return list
}
