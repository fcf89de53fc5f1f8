package rpc

import (
	"strconv"
	"strings"
	"time"

	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A cycleFit is one way to launch a sortie: so many units from such lots.
type cycleFit struct {
	count    int
	stations []aircraft.Station // in the order of units
	lots     []int              // lot of each unit
	a        *takeoff.Assessment
}

// usable tells whether the sortie may go with it.
func (c *cycleFit) usable() bool { return !c.a.Verdict.Outcome().Holds() }

// maxCombinations is how many mixtures of lots are tried for one count; above
// it, mixtures of at most two lots.
const maxCombinations = 600

// fits lists the ways to launch a sortie, unassessed, in a fixed order: by count,
// then by lots. Stations that mirror each other are served from one lot, and all
// units of a fit are of one type.
func (rc *resolvedCycle) fits(s *resolvedSortie) []*cycleFit {
	launch := rc.cycle.GetStartTime().AsTime().Add(time.Duration(s.sortie.GetLaunchS() * float64(time.Second)))
	var list []*cycleFit
	for _, count := range s.counts {
		if count == 0 {
			list = append(list, new(cycleFit))
			continue
		}
		sides := sidesOf(s.base, count)
		for _, lots := range rc.mixtures(len(sides), launch) {
			fit := &cycleFit{count: count}
			for i, side := range sides {
				for _, station := range side {
					fit.stations = append(fit.stations, station)
					fit.lots = append(fit.lots, lots[i])
				}
			}
			list = append(list, fit)
		}
	}
	return list
}

// sidesOf cuts the stations of a loading into those that one lot must serve:
// mirror images together, a centre-line station alone.
func sidesOf(base *resolved, count int) [][]aircraft.Station {
	stations := stationsFor(base, count, &faults{})
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

// mixtures lists which lots may serve a number of sides: every multiset of lots
// of one type, given out in the order of lots. A lot without units enters all
// the same, since it tells what more stock would do.
func (rc *resolvedCycle) mixtures(sides int, launch time.Time) [][]int {
	var list [][]int
	for i := range rc.lots {
		if rc.firstOfKind(i) {
			list = append(list, rc.mixturesOf(rc.lots[i].kind, sides, launch)...)
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

func (rc *resolvedCycle) mixturesOf(kind *booster.Type, sides int, launch time.Time) [][]int {
	var lots []int
	for i := range rc.lots {
		if lot := &rc.lots[i]; lot.kind == kind && lot.barred == "" && lot.expire.After(launch) {
			lots = append(lots, i)
		}
	}
	var list [][]int
	full := true
	var extend func(mixture []int, from, distinct, most int)
	extend = func(mixture []int, from, distinct, most int) {
		if !full {
			return
		}
		if len(mixture) == sides {
			list = append(list, append([]int(nil), mixture...))
			full = len(list) <= maxCombinations || most == 2
			return
		}
		for k := from; k < len(lots); k++ {
			more := distinct
			if len(mixture) == 0 || mixture[len(mixture)-1] != lots[k] {
				more++
			}
			if more <= most {
				extend(append(mixture, lots[k]), k, more, most)
			}
		}
	}
	extend(nil, 0, 0, sides)
	if !full {
		list, full = nil, true
		extend(nil, 0, 0, 2)
	}
	return list
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

// likeness is a key that fits share whose units behave alike, so that one
// assessment serves them all.
func (rc *resolvedCycle) likeness(fit *cycleFit) string {
	var b strings.Builder
	b.WriteString(strconv.Itoa(fit.count))
	for _, i := range fit.lots {
		b.WriteByte(' ')
		for j := range rc.lots {
			if rc.lots[j].kind == rc.lots[i].kind {
				b.WriteString(strconv.Itoa(j)) // the first lot of the kind stands for it
				break
			}
		}
		b.WriteByte('@')
		b.WriteString(number(rc.lots[i].lot.GetGrainTemperatureC()))
	}
	return b.String()
}

// withFit is the take-off of a sortie with a fit, fired at its best.
func (rc *resolvedCycle) withFit(s *resolvedSortie, fit *cycleFit) *resolved {
	res := *s.base
	res.Setting.Units = rc.units(fit)
	res.Best = fit.count > 0
	return &res
}

// assess computes a fit, failures included.
func (rc *resolvedCycle) assess(s *resolvedSortie, fit *cycleFit, bare *takeoff.Runner) (*takeoff.Assessment, error) {
	res := rc.withFit(s, fit)
	runner, err := takeoff.NewRunner(res.Setting)
	if err != nil {
		return nil, err
	}
	var schedule booster.Schedule
	a := runner.Assess(&schedule, takeoff.Plan{
		Firing: res.Firing, Search: res.Best, Failures: true, Bare: bare,
	}, demand(res))
	return &a, nil
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
