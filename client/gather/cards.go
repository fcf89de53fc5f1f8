package gather

import (
	"context"
	"fmt"
	"math"
	"slices"

	"bowroll/client"
	"bowroll/client/sheet/card"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cardSections is all that a card says about a launch.
var cardSections = []bowrollv1.Section{
	bowrollv1.Section_SECTION_FAILURES, bowrollv1.Section_SECTION_BEST_FIRING, bowrollv1.Section_SECTION_CHANCE,
	bowrollv1.Section_SECTION_COMMIT, bowrollv1.Section_SECTION_CHECK_LINE, bowrollv1.Section_SECTION_EXHAUST,
	bowrollv1.Section_SECTION_BOX,
}

// Cards asks for everything that the cards of a plan say, with the catalog in
// force.
//
// Units are those that the cards will be read in: the mark of a check is put at a
// whole number of them. Spent units are dropped as given; nil leaves the drop zone
// out.
func Cards(ctx context.Context, to *client.Client, asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, units quantity.System, drops *bowrollv1.UnitRelease) ([]card.Sources, error) {
	return cards(ctx, newLibrary(to), asked, plan, units, drops)
}

// cards is [Cards] with the catalog of a library.
func cards(ctx context.Context, library *library, asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, units quantity.System, drops *bowrollv1.UnitRelease) ([]card.Sources, error) {
	deck, err := library.deckOf(ctx, asked)
	if err != nil {
		return nil, err
	}
	sorties, lots := map[string]*bowrollv1.Sortie{}, map[string]*bowrollv1.Lot{}
	for _, s := range asked.GetSorties() {
		sorties[s.GetId()] = s
	}
	for _, l := range asked.GetLots() {
		lots[l.GetId()] = l
	}
	var list []card.Sources
	var cases []*bowrollv1.TakeoffCase
	for _, l := range plan.GetLaunches() {
		s := card.Sources{Cycle: asked, Plan: plan, Launch: l, Deck: deck, Boosters: map[string]*bowrollv1.BoosterType{}}
		sortie := sorties[l.GetSortie()]
		if s.Aircraft, err = library.aircraftOf(ctx, sortie); err != nil {
			return nil, err
		}
		for _, d := range l.GetDraws() {
			if s.Boosters[d.GetLot()], err = library.boosterOf(ctx, lots[d.GetLot()]); err != nil {
				return nil, err
			}
		}
		one := launchCase(asked, plan, l, sortie, lots)
		if one.GetBoosters() != nil {
			one.Boosters.Release = drops
		}
		list, cases = append(list, s), append(cases, one)
	}
	if len(cases) == 0 {
		return list, nil
	}
	sections := cardSections
	if drops != nil {
		sections = append(slices.Clone(sections), bowrollv1.Section_SECTION_DROP_ZONE)
	}
	offs, err := takeoffs(ctx, library, cases, sections)
	if err != nil {
		return nil, err
	}
	var again []*bowrollv1.TakeoffCase
	var which []int
	for i, off := range offs {
		planned := list[i].Launch.GetTakeoff()
		if !alike(off.RunM, planned.RunM) {
			return nil, fmt.Errorf("card of %s: the service answers the launch otherwise than its plan does; plan again", list[i].Launch.GetSortie())
		}
		list[i].Takeoff = off
		if at := earlierMark(off, units); at != nil {
			cases[i].CheckMarkM = at
			again, which = append(again, cases[i]), append(which, i)
		}
	}
	// A check is worth most where a stop still fits: the mark goes before the
	// commit point where the usual one lies behind it.
	if len(again) > 0 {
		if offs, err = takeoffs(ctx, library, again, sections); err != nil {
			return nil, err
		}
		for n, off := range offs {
			list[which[n]].Takeoff = off
		}
	}
	for i := range list {
		// The firing was searched when the plan was made, and only then.
		list[i].Takeoff.BestFiring = list[i].Launch.GetTakeoff().GetBestFiring()
	}
	return list, nil
}

// takeoffs computes cases with all that a card says; all must be answered.
func takeoffs(ctx context.Context, library *library, cases []*bowrollv1.TakeoffCase, sections []bowrollv1.Section) ([]*bowrollv1.Takeoff, error) {
	answer, err := library.to.Takeoffs.BatchCompute(ctx, &bowrollv1.TakeoffsBatchComputeRequest{Cases: cases, Sections: sections, CatalogRevision: library.revision})
	if err != nil {
		return nil, err
	}
	offs := make([]*bowrollv1.Takeoff, len(answer.GetItems()))
	for i, item := range answer.GetItems() {
		if item.GetTakeoff() == nil {
			return nil, fmt.Errorf("card of %s: %s", item.GetId(), item.GetStatus().GetMessage())
		}
		offs[i] = item.GetTakeoff()
	}
	return offs, nil
}

// earlierMark returns a mark before the commit point, at a whole ten feet or five
// metres, where no stop fits from the usual one; nil where that mark will do.
func earlierMark(off *bowrollv1.Takeoff, units quantity.System) *float64 {
	last := off.GetCommit().GetLit()
	if c := off.GetCheckLine(); c == nil || c.GetStopFits() || !last.GetExists() || last.DistanceM == nil {
		return nil
	}
	step := 3.048
	if units == quantity.SI {
		step = 5
	}
	at := math.Floor(last.GetDistanceM()/step) * step
	if at <= 0 {
		return nil
	}
	return &at
}

// alike reports whether two answers give the same run.
func alike(a, b *float64) bool {
	return a != nil && b != nil && math.Abs(*a-*b) <= 1e-6*math.Abs(*b)
}

// Case is a launch of a plan as a case of its own, its firing held.
func Case(asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, l *bowrollv1.PlannedLaunch) *bowrollv1.TakeoffCase {
	lots, sortie := map[string]*bowrollv1.Lot{}, &bowrollv1.Sortie{}
	for _, lot := range asked.GetLots() {
		lots[lot.GetId()] = lot
	}
	for _, s := range asked.GetSorties() {
		if s.GetId() == l.GetSortie() {
			sortie = s
		}
	}
	return launchCase(asked, plan, l, sortie, lots)
}

func launchCase(asked *bowrollv1.Cycle, plan *bowrollv1.CyclePlan, l *bowrollv1.PlannedLaunch, sortie *bowrollv1.Sortie, lots map[string]*bowrollv1.Lot) *bowrollv1.TakeoffCase {
	off := l.GetTakeoff()
	c := &bowrollv1.TakeoffCase{
		Id: l.GetSortie(), AircraftType: sortie.GetAircraftType(), Aircraft: sortie.GetAircraft(), Flap: sortie.GetFlap(),
		GrossMassKg: sortie.GrossMassKg, Air: asked.GetAir(), NaturalWind: asked.GetNaturalWind(), Ship: plan.GetShip(),
		Deck: asked.GetDeck(), Spot: l.GetSpot(), AvailableM: sortie.AvailableM, Policy: plan.GetPolicy(),
	}
	if len(l.GetDraws()) == 0 {
		return c
	}
	first := lots[l.GetDraws()[0].GetLot()]
	b := &bowrollv1.Boosters{BoosterType: first.GetBoosterType(), Type: first.GetType(), GrainTemperatureC: first.GrainTemperatureC, Firing: &bowrollv1.Firing{}}
	units := int32(0)
	for i, d := range l.GetDraws() {
		units += d.GetUnitCount()
		if i == 0 {
			continue
		}
		for _, station := range d.GetStations() {
			b.UnitTemperatures = append(b.UnitTemperatures, &bowrollv1.UnitTemperature{Station: station, GrainTemperatureC: lots[d.GetLot()].GrainTemperatureC})
		}
	}
	b.Count = &units
	b.Firing.Mode = off.GetFiring().GetMode()
	switch b.Firing.Mode {
	case bowrollv1.FiringMode_FIRING_MODE_ROLLING:
		b.Firing.DelayS = off.GetFiring().DelayS
	case bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES:
		b.Firing.ReactionS = off.GetFiring().ReactionS
	}
	c.Boosters = b
	return c
}
