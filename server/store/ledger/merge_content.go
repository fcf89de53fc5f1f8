package ledger

import (
	"context"

	"bowroll/server/store"
)

// takeContent takes in what entries hold a digest of, and folds the plans that
// fresh entries or their own content concern. It returns how many readings and
// plans are there now and were not.
func takeContent(ctx context.Context, tx store.Tx, entries, fresh []store.Movement, contents []store.Content) (added int, err error) {
	if replica, err := tx.Replica(ctx); err != nil || !replica {
		return 0, err // a site has the content of its own log
	}
	bySeq := make(map[int64]store.Movement, len(entries))
	for _, m := range entries {
		bySeq[m.Seq] = m
	}
	bodies := map[string]*store.Content{}
	for i := range contents {
		content := &contents[i]
		switch m := bySeq[content.Seq]; {
		case m.Event == store.Read && provesReadings(m, content.Readings):
			for j := range content.Readings {
				content.Readings[j].Lot, content.Readings[j].Seq = m.Lot, m.Seq
			}
			n, err := tx.InsertReadings(ctx, content.Readings)
			if err != nil {
				return 0, err
			}
			added += n
		case m.Event == store.SavePlan && provesPlan(m, *content):
			bodies[m.Plan] = content
		default:
			return 0, store.Errorf(store.Invalid, "CONTENT_DIFFERS", "what came with entry %d is not what the site wrote its digest of: send it again", content.Seq).At("movements")
		}
	}
	touched := map[string][]store.Movement{}
	for plan := range bodies {
		touched[plan] = nil
	}
	for _, m := range fresh {
		if m.Plan != "" {
			touched[m.Plan] = append(touched[m.Plan], m)
		}
	}
	for _, id := range sortedKeys(touched) {
		made, err := foldPlan(ctx, tx, id, touched[id], bodies[id])
		if err != nil {
			return 0, err
		}
		if made {
			added++
		}
	}
	return added, nil
}

// foldPlan folds entries onto the plan that the copy has, or makes it from its
// content and every entry there is of it.
func foldPlan(ctx context.Context, tx store.Tx, id string, fresh []store.Movement, content *store.Content) (made bool, err error) {
	plan, err := tx.Plan(ctx, id)
	switch {
	case store.Is(err, store.NotFound) && content == nil:
		return false, nil
	case store.Is(err, store.NotFound):
		plan = store.Plan{Cycle: content.Cycle, Answer: content.Answer, Sorties: content.Sorties}
		if fresh, err = allOf(ctx, tx, id); err != nil {
			return false, err
		}
		made = true
	case err != nil:
		return false, err
	}
	was := plan.Seq
	for _, m := range fresh {
		if plan, err = plan.After(m); err != nil {
			return false, err
		}
	}
	if len(fresh) == 0 {
		return made, nil
	}
	return made, tx.PutPlan(ctx, plan, was)
}

// allOf reads every entry of a plan.
func allOf(ctx context.Context, r store.Reader, plan string) (all []store.Movement, err error) {
	const page = 2000
	for after := int64(0); ; after = all[len(all)-1].Seq {
		list, err := r.Movements(ctx, store.MovementFilter{Plan: plan}, after, page)
		if all = append(all, list...); err != nil || len(list) < page {
			return all, err
		}
	}
}
