package catalog

import (
	"math"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// CheckSite returns what is wrong between the fields of a site, each field by
// itself being as the contract asks. A site with speeds is a ship; one without
// is ashore.
func CheckSite(s *bowrollv1.Site) []*bowrollv1.Violation {
	var vs violations
	switch {
	case s.LeastSpeedMps != nil && s.GreatestSpeedMps != nil:
		if s.GetLeastSpeedMps() > s.GetGreatestSpeedMps() {
			vs.add("greatest_speed_mps", figure(s.GetGreatestSpeedMps()), "order", "at least least_speed_mps, "+figure(s.GetLeastSpeedMps()), "")
		}
	case s.LeastSpeedMps != nil:
		vs.add("greatest_speed_mps", "", "required", "", "a ship has both speeds, a strip none")
	case s.GreatestSpeedMps != nil:
		vs.add("least_speed_mps", "", "required", "", "a ship has both speeds, a strip none")
	case s.TurnRateDegS != nil:
		vs.add("turn_rate_deg_s", figure(s.GetTurnRateDegS()), "ashore", "", "a strip does not turn: give both speeds or leave this out")
	}
	checkAnemometers(s, &vs)
	return vs
}

// checkAnemometers holds the sectors of every sensor clear of each other.
func checkAnemometers(s *bowrollv1.Site, vs *violations) {
	if q := s.GetWindQuality(); q == nil && len(s.GetAnemometers()) > 0 {
		vs.add("wind_quality", "", "required", "", "say what readings must be to be used, and how near two must agree")
	} else if q != nil && q.GetLeastAveragingS() > q.GetGreatestAveragingS() {
		vs.add("wind_quality.greatest_averaging_s", figure(q.GetGreatestAveragingS()), "order", "at least least_averaging_s, "+figure(q.GetLeastAveragingS()), "")
	}
	seen := map[string]bool{}
	for i, a := range s.GetAnemometers() {
		if seen[a.GetId()] {
			vs.add(element("anemometers", i, ".id"), a.GetId(), "unique", "unlike the ids before it", "")
		}
		seen[a.GetId()] = true
		for j, c := range a.GetCorrections() {
			at := element(element("anemometers", i, ".corrections"), j, "")
			if sectorWidth(c) == 0 {
				vs.add(at+".to_deg", figure(c.GetToDeg()), "order", "unlike from_deg", "0 to 360 is every direction")
			}
			for k, before := range a.GetCorrections()[:j] {
				if inSector(before, c.GetFromDeg()) || inSector(c, before.GetFromDeg()) {
					vs.add(at+".from_deg", figure(c.GetFromDeg()), "overlap", "clear of "+element("corrections", k, ""), "sectors may not overlap")
				}
			}
		}
	}
}

// sectorWidth is how wide a sector is, clockwise, in degrees.
func sectorWidth(c *bowrollv1.AnemometerCorrection) float64 {
	if c.GetToDeg()-c.GetFromDeg() >= 360 {
		return 360
	}
	return math.Mod(c.GetToDeg()-c.GetFromDeg()+360, 360)
}

// inSector tells whether a direction is in a sector.
func inSector(c *bowrollv1.AnemometerCorrection, deg float64) bool {
	width := sectorWidth(c)
	return width >= 360 || math.Mod(deg-c.GetFromDeg()+720, 360) < width
}

// CheckDeck returns what is wrong between the fields of a deck of a site, each
// field by itself being as the contract asks. A nil site says nothing of it.
func CheckDeck(d *bowrollv1.Deck, site *bowrollv1.Site) []*bowrollv1.Violation {
	var vs violations
	seen := map[string]bool{}
	for i, s := range d.GetSpots() {
		if seen[s.GetId()] {
			vs.add(element("spots", i, ".id"), s.GetId(), "unique", "unlike the ids before it", "")
		}
		seen[s.GetId()] = true
	}
	checkNeighbours(d, seen, &vs)
	if d.GetPolicy().GetPermittedSinkM() > 0 && d.EdgeHeightM == nil {
		vs.add("policy.permitted_sink_m", figure(d.GetPolicy().GetPermittedSinkM()), "edge", "0 where edge_height_m is not given", "")
	}
	if d.EdgeHeightM != nil && d.GetPolicy().GetPermittedSinkM() > d.GetEdgeHeightM() {
		vs.add("policy.permitted_sink_m", figure(d.GetPolicy().GetPermittedSinkM()), "order", "at most edge_height_m, "+figure(d.GetEdgeHeightM()), "")
	}
	if site == nil || d.AxisOffsetDeg == nil {
		return vs
	}
	if site.GreatestSpeedMps != nil && d.GetAxisOffsetDeg() > 180 {
		vs.add("axis_offset_deg", figure(d.GetAxisOffsetDeg()), "range", "from -180 to 180 on a ship", "")
	}
	if site.GreatestSpeedMps == nil && d.GetAxisOffsetDeg() < 0 {
		vs.add("axis_offset_deg", figure(d.GetAxisOffsetDeg()), "range", "from 0 to 360 ashore, a true heading", "")
	}
	return vs
}

// checkNeighbours holds pairs of spots to spots that there are, each pair once.
func checkNeighbours(d *bowrollv1.Deck, spots map[string]bool, vs *violations) {
	pairs := map[[2]string]bool{}
	for i, n := range d.GetNeighbours() {
		for _, end := range []struct{ field, spot string }{{".spot", n.GetSpot()}, {".other", n.GetOther()}} {
			if !spots[end.spot] {
				vs.add(element("neighbours", i, end.field), end.spot, "known", "a spot of the deck", "")
			}
		}
		pair := [2]string{min(n.GetSpot(), n.GetOther()), max(n.GetSpot(), n.GetOther())}
		switch {
		case n.GetSpot() == n.GetOther():
			vs.add(element("neighbours", i, ".other"), n.GetOther(), "pair", "another spot", "")
		case pairs[pair]:
			vs.add(element("neighbours", i, ""), n.GetSpot()+" and "+n.GetOther(), "unique", "each pair once", "")
		}
		pairs[pair] = true
	}
}

// siteOf is the name of the site that a deck's name puts it on.
func siteOf(deck string) string {
	site, _, _ := strings.Cut(deck, "/decks/")
	return site
}
