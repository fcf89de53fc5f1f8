package rpc

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// checkKept judges the launches to keep against the cycle. A sortie that the cycle
// no longer has, or a lot that is gone, is no fault: that is what changed. The same
// sortie twice is.
func checkKept(rc *resolvedCycle, list []*bowrollv1.KeptLaunch) []*bowrollv1.Violation {
	var found []*bowrollv1.Violation
	seen := map[string]int{}
	for i, k := range list {
		if first, again := seen[k.GetSortie()]; again {
			found = append(found, &bowrollv1.Violation{
				Field: "keep[" + strconv.Itoa(i) + "].sortie", Value: strconv.Quote(k.GetSortie()), Rule: "unique",
				Allowed: "a sortie once", Hint: "keep[" + strconv.Itoa(first) + "] has it",
			})
			continue
		}
		seen[k.GetSortie()] = i
	}
	return found
}

// keep asks the allocation to leave launches of an earlier plan as they were.
func (q *queue) keep(list []*bowrollv1.KeptLaunch, after *int32) {
	q.problem.KeepAfter = 1
	if after != nil {
		q.problem.KeepAfter = int(*after)
	}
	p := q.parts[0]
	for _, k := range list {
		for i, s := range p.rc.sorties {
			if s.sortie.GetId() != k.GetSortie() {
				continue
			}
			for at, j := range p.usable[i] {
				if p.rc.sameUnits(p.fits[i][j], k) {
					q.problem.Sorties[p.first+i].Keep = q.problem.Sorties[p.first+i].Fits[at].ID
				}
			}
		}
	}
}

// sameUnits tells whether a fit is what a card has: the same units from the same
// lots, from the same spot.
func (rc *resolvedCycle) sameUnits(fit *cycleFit, k *bowrollv1.KeptLaunch) bool {
	return fit.place.spot == k.GetSpot() && maps.Equal(counts(rc.draws(fit)), counts(k.GetDraws()))
}

func counts(draws []*bowrollv1.Draw) map[string]int32 {
	m := map[string]int32{}
	for _, d := range draws {
		m[d.GetLot()] += d.GetUnitCount()
	}
	return m
}

// What a card may differ by and still hold.
const (
	sameTimeS  = 0.5
	sameDelayS = 0.05 // below what a pilot can command to
	sameMassKG = 0.5
)

// replan says what a plan changes of an earlier one, in the order of its launches.
func (p *planner) replan(list []*bowrollv1.KeptLaunch, out *bowrollv1.CyclePlan) *bowrollv1.Replan {
	re := &bowrollv1.Replan{}
	launches := map[string]*bowrollv1.PlannedLaunch{}
	for _, l := range out.GetLaunches() {
		launches[l.GetSortie()] = l
	}
	had := map[string]bool{}
	for _, k := range list {
		had[k.GetSortie()] = true
		reasons := p.changed(k, launches[k.GetSortie()])
		if len(reasons) == 0 {
			re.Kept = append(re.Kept, k.GetSortie())
			continue
		}
		re.VoidCards = append(re.VoidCards, &bowrollv1.VoidCard{Sortie: k.GetSortie(), Reasons: reasons})
	}
	for _, l := range out.GetLaunches() {
		if !had[l.GetSortie()] {
			re.Added = append(re.Added, l.GetSortie())
		}
	}
	return re
}

// changed says why a card no longer holds.
func (p *planner) changed(k *bowrollv1.KeptLaunch, l *bowrollv1.PlannedLaunch) []string {
	s := p.rc.sortie(k.GetSortie())
	switch {
	case s == nil:
		return []string{"no longer in the queue"}
	case l == nil:
		return []string{"held"}
	}
	var list []string
	if l.GetSpot() != k.GetSpot() {
		list = append(list, fmt.Sprintf("from spot %s instead of %s", l.GetSpot(), k.GetSpot()))
	}
	if !maps.Equal(counts(l.GetDraws()), counts(k.GetDraws())) {
		list = append(list, "with "+unitsOf(l.GetDraws())+" instead of "+unitsOf(k.GetDraws()))
	}
	if k.LaunchS != nil && math.Abs(l.GetLaunchS()-k.GetLaunchS()) > sameTimeS {
		list = append(list, fmt.Sprintf("at %.0f s instead of %.0f s", l.GetLaunchS(), k.GetLaunchS()))
	}
	if k.GrossMassKg != nil && math.Abs(s.sortie.GetGrossMassKg()-k.GetGrossMassKg()) > sameMassKG {
		list = append(list, fmt.Sprintf("at %.0f kg instead of %.0f kg", s.sortie.GetGrossMassKg(), k.GetGrossMassKg()))
	}
	if f := l.GetTakeoff().GetFiring(); k.FiringDelayS != nil && f != nil && f.DelayS != nil && math.Abs(f.GetDelayS()-k.GetFiringDelayS()) > sameDelayS {
		list = append(list, fmt.Sprintf("fired %.1f s into the roll instead of %.1f s", f.GetDelayS(), k.GetFiringDelayS()))
	} else if k.FiringDelayS != nil && (f == nil || f.DelayS == nil) && len(l.GetDraws()) > 0 {
		list = append(list, "fired on the brakes instead of in the roll")
	}
	if wind := l.GetTakeoff().GetWind(); k.LeastHeadwindMps != nil && wind.GetCreditedHeadwindMps() < k.GetLeastHeadwindMps() {
		list = append(list, fmt.Sprintf("credited headwind %.1f m/s, the card asks for %.1f m/s", wind.GetCreditedHeadwindMps(), k.GetLeastHeadwindMps()))
	}
	return list
}

func unitsOf(draws []*bowrollv1.Draw) string {
	if len(draws) == 0 {
		return "no units"
	}
	m := counts(draws)
	var parts []string
	for _, lot := range slices.Sorted(maps.Keys(m)) {
		parts = append(parts, fmt.Sprintf("%d of %s", m[lot], lot))
	}
	return strings.Join(parts, " and ")
}
