package rpc

import (
	"context"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/store"
)

// outdated is why no card may be issued for a launch of a plan: the catalog has
// changed since in what the launch uses. It is nil where nothing of it has.
func (p *Plans) outdated(ctx context.Context, plan store.Plan, launch *bowrollv1.PlannedLaunch) (refusal, err error) {
	now := p.snapshot.Revision()
	if p.again == nil || launch == nil || plan.CatalogRevision == now {
		return nil, nil
	}
	then, err := p.again.kept.Revision(ctx, plan.CatalogRevision)
	if err != nil {
		return nil, err
	}
	cycle, err := cycleOf(plan)
	if err != nil {
		return nil, err
	}
	uses := usedBy(cycle, launch)
	var differ []string
	for _, d := range catalog.Diff(then, p.snapshot) {
		if uses[d.GetName()] {
			differ = append(differ, d.GetName())
		}
	}
	if len(differ) == 0 {
		return nil, nil
	}
	list := strings.Join(differ, ", ")
	return store.Errorf(store.Refused, "CATALOG_CHANGED", "plan %s was computed with catalog %s, and %s, in force now, differs in what %s uses: %s; no card is issued: save the cycle as a new plan and issue its cards",
		plan.ID, plan.CatalogRevision, now, launch.GetSortie(), list).At("name").With("changed", list), nil
}

// usedBy are the names of the catalog that a launch of a cycle uses.
func usedBy(c *bowrollv1.Cycle, launch *bowrollv1.PlannedLaunch) map[string]bool {
	site, _, _ := strings.Cut(c.GetDeck(), "/decks/")
	names := map[string]bool{c.GetDeck(): true, site: true}
	for _, s := range c.GetSorties() {
		if s.GetId() == launch.GetSortie() {
			names[full("aircraftTypes/", s.GetAircraftType())] = true
		}
	}
	for _, d := range launch.GetDraws() {
		for _, l := range c.GetLots() {
			if l.GetId() == d.GetLot() {
				names[full("boosterTypes/", l.GetBoosterType())] = true
			}
		}
	}
	return names
}
