package rpc

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"bowroll/perf/aircraft"
	"bowroll/perf/allocate"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A cycleFit is one way to launch a sortie: so many units from such lots.
type cycleFit struct {
	place    *place
	count    int
	stations []aircraft.Station // in the order of units
	lots     []int              // lot of each unit
	a        *takeoff.Assessment
}

// usable tells whether the sortie may go with it.
func (c *cycleFit) usable() bool { return !c.a.Verdict.Outcome().Holds() }

// maxCombinations is how many mixtures of lots are tried for one count at one
// place, and maxFits about how many fits one sortie may have in all. Where all
// mixtures would be more, those of at most two lots are tried, then each lot by
// itself, and then the lots that expire first.
const (
	maxCombinations = 600
	maxFits         = allocate.MaxFits - 100
)

// fits lists the ways to launch a sortie, unassessed, in a fixed order: by place
// (the one given first), by count, then by lots. Stations that mirror each other
// are served from one lot, and all units of a fit are of one type.
func (rc *resolvedCycle) fits(s *resolvedSortie) []*cycleFit {
	var list []*cycleFit
	for i := range s.places {
		p := &s.places[i]
		launch := rc.cycle.GetStartTime().AsTime().Add(time.Duration(p.launchS * float64(time.Second)))
		for _, count := range s.counts {
			if count == 0 {
				list = append(list, &cycleFit{place: p})
				continue
			}
			sides := sidesOf(s.base, count)
			for _, lots := range rc.mixtures(sizes(sides), launch, min(maxCombinations, max(1, maxFits/(len(s.counts)*len(s.places))))) {
				fit := &cycleFit{place: p, count: count}
				for i, side := range sides {
					for _, station := range side {
						fit.stations = append(fit.stations, station)
						fit.lots = append(fit.lots, lots[i])
					}
				}
				list = append(list, fit)
			}
		}
	}
	return list
}

// sidesOf cuts the stations of a loading into those that one lot must serve:
// mirror images together, a centre-line station alone.
func sidesOf(base *resolved, count int) [][]aircraft.Station {
	stations := stationsFor(nil, base, count, &faults{})
	var sides [][]aircraft.Station
	taken := map[string]bool{}
	for i, s := range stations {
		if taken[s.ID] {
			continue
		}
		side := []aircraft.Station{s}
		for _, other := range stations[i+1:] {
			if s.Mirror != "" && other.ID == s.Mirror {
				side = append(side, other)
				taken[other.ID] = true
			}
		}
		sides = append(sides, side)
	}
	return sides
}

// sizes counts the stations of each side.
func sizes(sides [][]aircraft.Station) []int {
	list := make([]int, len(sides))
	for i, side := range sides {
		list[i] = len(side)
	}
	return list
}

// mixtures lists which lots of one type may serve sides of such sizes, at most so
// many. Sides of one size are served in the order of lots: which of them has which
// lot changes no draw. A lot without units enters all the same, since it tells
// what more stock would do.
func (rc *resolvedCycle) mixtures(sides []int, launch time.Time, most int) [][]int {
	kinds := 0
	for i := range rc.lots {
		if rc.firstOfKind(i) {
			kinds++
		}
	}
	var list [][]int
	for i := range rc.lots {
		if rc.firstOfKind(i) {
			list = append(list, rc.mixturesOf(rc.lots[i].kind, sides, launch, max(1, most/kinds))...)
		}
	}
	return list
}

func (rc *resolvedCycle) firstOfKind(i int) bool {
	for j := range i {
		if rc.lots[j].kind == rc.lots[i].kind {
			return false
		}
	}
	return true
}

func (rc *resolvedCycle) mixturesOf(kind *booster.Type, sides []int, launch time.Time, most int) [][]int {
	var lots []int
	for i := range rc.lots {
		if lot := &rc.lots[i]; lot.kind == kind && lot.barred == "" && lot.expire.After(launch) {
			lots = append(lots, i)
		}
	}
	for _, distinct := range []int{len(sides), 2, 1} {
		if list := multisets(lots, sides, distinct, most); len(list) <= most {
			return list
		}
		rc.narrowed = true
	}
	slices.SortStableFunc(lots, func(a, b int) int { return rc.lots[a].expire.Compare(rc.lots[b].expire) })
	lots = lots[:most]
	slices.Sort(lots)
	return multisets(lots, sides, 1, most)
}

// multisets lists the ways to serve sides of such sizes from lots, with at most so
// many distinct ones, in order. It gives up one past most.
func multisets(lots, sides []int, distinct, most int) [][]int {
	var list [][]int
	picked := make([]int, len(sides)) // index into lots
	var extend func(at int)
	extend = func(at int) {
		if len(list) > most {
			return
		}
		if at == len(sides) {
			mixture := make([]int, len(sides))
			for i, k := range picked {
				mixture[i] = lots[k]
			}
			list = append(list, mixture)
			return
		}
		from := 0
		for i := range at {
			if sides[i] == sides[at] {
				from = picked[i]
			}
		}
		for k := from; k < len(lots); k++ {
			picked[at] = k
			if used := slices.Clone(picked[:at+1]); len(compact(used)) <= distinct {
				extend(at + 1)
			}
		}
	}
	extend(0)
	return list
}

// compact is what differs of a list.
func compact(list []int) []int {
	slices.Sort(list)
	return slices.Compact(list)
}

// units hangs the fit's units, each at the temperature of its lot.
func (rc *resolvedCycle) units(fit *cycleFit) []booster.Unit {
	units := make([]booster.Unit, len(fit.stations))
	for i, s := range fit.stations {
		lot := &rc.lots[fit.lots[i]]
		units[i] = booster.Unit{
			Type: lot.kind, GrainTemperatureC: lot.lot.GetGrainTemperatureC(),
			LateralM: s.LateralM, LongitudinalM: s.LongitudinalM, Line: s.Line,
		}
	}
	return units
}

// likeness is a key that fits share whose take-offs are alike in every number, so
// that one assessment serves them all, whoever they belong to.
func (rc *resolvedCycle) likeness(s *resolvedSortie, fit *cycleFit) string {
	var b strings.Builder
	b.WriteString(rc.setting)
	b.WriteByte(' ')
	b.WriteString(s.like)
	b.WriteByte(' ')
	b.WriteString(number(fit.place.at.Available))
	b.WriteByte(' ')
	b.WriteString(strconv.Itoa(fit.count))
	// Units of one lot are uneven together: which share a lot tells fits apart too.
	var lots []int
	for _, i := range fit.lots {
		at := slices.Index(lots, i)
		if at < 0 {
			at = len(lots)
			lots = append(lots, i)
		}
		b.WriteByte(' ')
		b.WriteString(strconv.Itoa(at))
		b.WriteByte(':')
		b.WriteString(rc.lots[i].like)
	}
	return b.String()
}

// withFit is the take-off of a sortie with a fit, its firing planned.
func (rc *resolvedCycle) withFit(_ *resolvedSortie, fit *cycleFit) *resolved {
	res := *fit.place.at
	res.Setting.Units = rc.units(fit)
	res.Planned = fit.count > 0
	res.Lots = lotNumbers(fit)
	return &res
}

// draws sums a fit up by lot, in the order of lots.
func (rc *resolvedCycle) draws(fit *cycleFit) []*bowrollv1.Draw {
	var list []*bowrollv1.Draw
	for i := range rc.lots {
		draw := &bowrollv1.Draw{Lot: rc.lots[i].lot.GetId()}
		for j, lot := range fit.lots {
			if lot == i {
				draw.UnitCount++
				draw.Stations = append(draw.Stations, fit.stations[j].ID)
			}
		}
		if draw.UnitCount > 0 {
			list = append(list, draw)
		}
	}
	return list
}
