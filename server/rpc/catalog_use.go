package rpc

import (
	"context"
	"fmt"
	"sort"
	"strings"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/store"
)

// uses says for names of the catalog what at the sites makes use of them.
type uses map[string][]string

// mostUses is how many users of a name an error lists.
const mostUses = 5

// uses looks through every site for what names things of the catalog: lots that
// still have units, plans that are open, and logs.
func (k *KeptCatalog) uses(ctx context.Context) (uses, error) {
	sites, err := k.store.Sites(ctx)
	if err != nil {
		return nil, err
	}
	used := uses{}
	for _, site := range sites {
		if site == store.Fleet {
			continue
		}
		if err := k.store.View(ctx, site, func(ctx context.Context, r store.Reader) error { return used.site(ctx, r) }); err != nil {
			return nil, err
		}
	}
	return used, nil
}

func (u uses) add(name, user string) {
	if name != "" {
		u[name] = append(u[name], user)
	}
}

// site gathers what one site uses.
func (u uses) site(ctx context.Context, r store.Reader) error {
	head, err := r.Head(ctx)
	if err != nil {
		return err
	}
	if head.Seq > 0 {
		u.add("sites/"+r.Site(), fmt.Sprintf("its log, which has %d entries", head.Seq))
	}
	counts, err := r.CountUnits(ctx, store.UnitFilter{})
	if err != nil {
		return err
	}
	lots := map[string]bool{}
	for _, c := range counts {
		switch c.State {
		case store.Expended, store.Disposed, store.Lost:
			continue
		}
		if c.Kind == store.Booster && !lots[c.Lot] {
			lots[c.Lot] = true
			u.add(c.Type, fmt.Sprintf("lot %s of %s", c.Lot, r.Site()))
		}
	}
	for _, state := range []store.PlanState{store.Draft, store.Confirmed} {
		if err := u.plans(ctx, r, state); err != nil {
			return err
		}
	}
	return nil
}

// plans gathers what the plans in one state use.
func (u uses) plans(ctx context.Context, r store.Reader, state store.PlanState) error {
	for after := ""; ; {
		page, err := r.Plans(ctx, store.PlanFilter{State: state}, after, mostListed)
		if err != nil {
			return err
		}
		for _, listed := range page {
			after = listed.ID
			plan, err := r.Plan(ctx, listed.ID)
			if err != nil {
				return err
			}
			cycle, err := cycleOf(plan)
			if err != nil {
				return err
			}
			user := fmt.Sprintf("%s plan %s of %s", plan.State, plan.ID, r.Site())
			for name := range namesIn(cycle) {
				u.add(name, user)
			}
		}
		if len(page) < mostListed {
			return nil
		}
	}
}

// namesIn are the names of the catalog that a cycle refers to.
func namesIn(c *bowrollv1.Cycle) map[string]bool {
	names := map[string]bool{c.GetDeck(): true}
	for _, s := range c.GetSorties() {
		names[full("aircraftTypes/", s.GetAircraftType())] = true
	}
	for _, l := range c.GetLots() {
		names[full("boosterTypes/", l.GetBoosterType())] = true
	}
	return names
}

// full is a resource name, of which a cycle may give the id alone.
func full(collection, name string) string {
	if name == "" {
		return ""
	}
	return collection + strings.TrimPrefix(name, collection)
}

// permit refuses to take out what is in use; every such thing is named.
func (u uses) permit(changes []*bowrollv1.ResourceDiff) error {
	var faults store.Errors
	for _, d := range changes {
		users := u[d.GetName()]
		if d.GetKind() != bowrollv1.DiffKind_DIFF_KIND_REMOVED || len(users) == 0 {
			continue
		}
		sort.Strings(users)
		text := strings.Join(users[:min(len(users), mostUses)], ", ")
		if more := len(users) - mostUses; more > 0 {
			text += fmt.Sprintf(" and %d more", more)
		}
		faults = append(faults, store.Errorf(store.Refused, "CATALOG_IN_USE", "%s is in use by %s: it stays until they are done with it", d.GetName(), text).With("name", d.GetName()))
	}
	return faults.Err()
}
