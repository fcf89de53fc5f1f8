package rpc

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"bowroll/perf/allocate"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cycleProblem is the allocation of a cycle, with the way back from its fits.
type cycleProblem struct {
	problem allocate.Problem
	fits    [][]*cycleFit // all fits of each sortie
	usable  [][]int       // index into fits for each fit of the problem's sortie
}

// allocation turns assessed fits into the problem. Times are whole seconds there:
// what crews need is rounded up, what they have is rounded down.
func (rc *resolvedCycle) allocation(fits [][]*cycleFit) *cycleProblem {
	cp := &cycleProblem{fits: fits, usable: make([][]int, len(fits))}
	site := allocate.Site{ID: siteName(rc.cycle.GetDeck()), Reserve: int(rc.cycle.GetReserveCount())}
	if crews := rc.cycle.GetCrews(); crews != nil {
		site.Crews = &allocate.Crews{
			Teams:    int(crews.GetTeamCount()),
			UnitS:    int64(math.Ceil(crews.GetFitTimeS())),
			HoldMinS: int64(math.Ceil(crews.GetHoldLeastS())),
			HoldMaxS: int64(math.Floor(crews.GetHoldGreatestS())),
		}
	}
	cp.problem.Sites = []allocate.Site{site}
	for i, rank := range rc.expiryRanks() {
		cp.problem.Lots = append(cp.problem.Lots, allocate.Lot{
			ID: rc.lots[i].lot.GetId(), Available: rc.lots[i].available, ExpiryRank: rank,
		})
	}
	for i, s := range rc.sorties {
		sortie := allocate.Sortie{
			ID: s.sortie.GetId(), Priority: int(s.sortie.GetPriority()),
			LaunchS: int64(math.Floor(s.sortie.GetLaunchS())),
		}
		for j, fit := range fits[i] {
			if !fit.usable() || !rc.inStock(fit) {
				continue
			}
			sortie.Fits = append(sortie.Fits, allocate.Fit{
				ID: strconv.Itoa(j), Draws: lotDraws(fit), MarginMM: int64(math.Floor(fit.a.MarginM * 1000)),
			})
			cp.usable[i] = append(cp.usable[i], j)
		}
		cp.problem.Sorties = append(cp.problem.Sorties, sortie)
	}
	return cp
}

// inStock tells whether the lots hold what a fit draws, if nothing else did.
func (rc *resolvedCycle) inStock(fit *cycleFit) bool {
	for _, d := range lotDraws(fit) {
		if d.Units > rc.lots[d.Lot].available {
			return false
		}
	}
	return true
}

// expiryRanks orders the lots by expiry, the earliest 0; lots that expire
// together rank alike.
func (rc *resolvedCycle) expiryRanks() []int {
	order := make([]int, len(rc.lots))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return rc.lots[a].expire.Compare(rc.lots[b].expire) })
	ranks := make([]int, len(rc.lots))
	for k, i := range order {
		if k > 0 && rc.lots[i].expire.Equal(rc.lots[order[k-1]].expire) {
			ranks[i] = ranks[order[k-1]]
		} else {
			ranks[i] = k
		}
	}
	return ranks
}

func lotDraws(fit *cycleFit) []allocate.Draw {
	var draws []allocate.Draw
	for _, lot := range fit.lots {
		i := slices.IndexFunc(draws, func(d allocate.Draw) bool { return d.Lot == lot })
		if i < 0 {
			draws = append(draws, allocate.Draw{Lot: lot})
			i = len(draws) - 1
		}
		draws[i].Units++
	}
	return draws
}

// holdReason says why a sortie is held that has a fit good enough for its run,
// and what would launch it beside everything that is planned to go.
func (cp *cycleProblem) holdReason(rc *resolvedCycle, res *allocate.Result, sortie int) (bowrollv1.HoldReason, string, []*bowrollv1.Change) {
	use := res.LotUse(&cp.problem)
	best, short := -1, math.MaxInt
	for j, fit := range cp.fits[sortie] {
		if !fit.usable() {
			continue
		}
		lacking := 0
		for _, d := range lotDraws(fit) {
			lacking += max(0, d.Units-(rc.lots[d.Lot].available-use[d.Lot]))
		}
		if lacking < short {
			best, short = j, lacking
		}
	}
	fit := cp.fits[sortie][best]
	if short > 0 {
		lot := rc.lots[fit.lots[0]]
		text := fmt.Sprintf("The units that would launch it go to launches worth more: with %d more of %s it would go with %d.",
			short, lot.lot.GetId(), fit.count)
		return bowrollv1.HoldReason_HOLD_REASON_STOCK, text, []*bowrollv1.Change{{
			Quantity: "unit_count", Change: float64(short), Text: fmt.Sprintf("%d more %s of %s", short, plural(short, "unit", "units"), lot.lot.GetId()),
		}}
	}
	if teams, ok := cp.moreTeams(res, sortie, best); ok {
		text := fmt.Sprintf("The crews cannot fit its %d units in time: %d more %s would.", fit.count, teams, plural(teams, "team", "teams"))
		return bowrollv1.HoldReason_HOLD_REASON_CREWS, text, []*bowrollv1.Change{{
			Quantity: "team_count", Change: float64(teams), Text: fmt.Sprintf("%d more fitting %s", teams, plural(teams, "team", "teams")),
		}}
	}
	return bowrollv1.HoldReason_HOLD_REASON_STOCK,
		"The reserve to keep back leaves no units for it.",
		[]*bowrollv1.Change{{Quantity: "reserve_count", Change: -float64(fit.count), Text: fmt.Sprintf("%d fewer units kept back", fit.count)}}
}

// moreTeams is the least number of further teams with which the sortie could go
// beside everything planned; it is checked, not guessed.
func (cp *cycleProblem) moreTeams(res *allocate.Result, sortie, fit int) (int, bool) {
	if cp.problem.Sites[0].Crews == nil {
		return 0, false
	}
	choices := slices.Clone(res.Choices)
	choices[sortie].Fit = slices.Index(cp.usable[sortie], fit)
	if choices[sortie].Fit < 0 {
		return 0, false
	}
	more := cp.problem
	crews := *more.Sites[0].Crews
	more.Sites = []allocate.Site{{ID: more.Sites[0].ID, Reserve: more.Sites[0].Reserve, Crews: &crews}}
	for extra := 1; extra <= 100; extra++ {
		crews.Teams++
		if len(allocate.Check(&more, choices)) == 0 {
			return extra, true
		}
	}
	return 0, false
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
