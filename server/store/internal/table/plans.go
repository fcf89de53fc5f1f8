package table

import (
	"context"
	"encoding/json"

	"bowroll/server/store"
)

const planColumns = `id, display_name, state, hold_until, model_version, catalog_revision, request_digest, sorties, waivers, reason, create_time, update_time, seq`

func (t *Tx) scanPlan(r Rows, blobs ...any) (p store.Plan, err error) {
	var (
		state, sorties, waivers           string
		holdUntil, createTime, updateTime int64
	)
	p.Site = t.site
	targets := append([]any{&p.ID, &p.DisplayName, &state, &holdUntil, &p.ModelVersion, &p.CatalogRevision, &p.RequestDigest,
		&sorties, &waivers, &p.Reason, &createTime, &updateTime, &p.Seq}, blobs...)
	if err := r.Scan(targets...); err != nil {
		return p, err
	}
	p.State, p.HoldUntil = store.PlanState(state), store.FromMicros(holdUntil)
	p.CreateTime, p.UpdateTime = store.FromMicros(createTime), store.FromMicros(updateTime)
	err = json.Unmarshal([]byte(sorties), &p.Sorties)
	if err == nil && waivers != noWaivers {
		err = json.Unmarshal([]byte(waivers), &p.Waivers)
	}
	if err != nil {
		return p, &store.Error{Class: store.Corrupt, Reason: "ROW_UNREADABLE", Text: "plan " + p.ID + " cannot be read", Err: err}
	}
	return p, nil
}

// noWaivers is what the column of waivers has where there are none.
const noWaivers = "[]"

// textOf is the sorties and the waivers of a plan as their columns have them.
func textOf(plan store.Plan) (sorties, waivers string, err error) {
	s, err := json.Marshal(plan.Sorties)
	if err != nil || len(plan.Waivers) == 0 {
		return string(s), noWaivers, err
	}
	w, err := json.Marshal(plan.Waivers)
	return string(s), string(w), err
}

// Plan returns one plan.
func (t *Tx) Plan(ctx context.Context, id string) (plan store.Plan, err error) {
	found := false
	err = t.query(ctx, func(r Rows) error {
		var cycle, answer []byte
		found = true
		plan, err = t.scanPlan(r, &cycle, &answer)
		plan.Cycle, plan.Answer = cycle, answer
		return err
	}, `SELECT `+planColumns+`, cycle, answer FROM plans WHERE site = $1 AND id = $2`, t.site, id)
	if err == nil && !found {
		err = store.Errorf(store.NotFound, "PLAN_NOT_FOUND", "site %s has no plan %s", t.site, id).With("plan", id)
	}
	return plan, err
}

// Plans returns plans in the order of their ids, without cycle and answer.
func (t *Tx) Plans(ctx context.Context, filter store.PlanFilter, after string, limit int) (plans []store.Plan, err error) {
	w := t.where()
	w.andText("state", string(filter.State))
	w.and("id > $%d", after)
	rest := w.limit("id", limit)
	err = t.query(ctx, func(r Rows) error {
		plan, err := t.scanPlan(r)
		plans = append(plans, plan)
		return err
	}, `SELECT `+planColumns+` FROM plans WHERE `+rest, w.args...)
	return plans, err
}

// PutPlan inserts or replaces a plan. What never changes (cycle, answer, what
// it was computed from) is written once.
func (t *Tx) PutPlan(ctx context.Context, plan store.Plan, was int64) error {
	sorties, waivers, err := textOf(plan)
	if err != nil {
		return err
	}
	if was == 0 {
		_, err := t.exec(ctx, `INSERT INTO plans (site, `+planColumns+`, cycle, answer)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)`,
			t.site, plan.ID, plan.DisplayName, string(plan.State), store.Micros(plan.HoldUntil), plan.ModelVersion,
			plan.CatalogRevision, plan.RequestDigest, sorties, waivers, plan.Reason,
			store.Micros(plan.CreateTime), store.Micros(plan.UpdateTime), plan.Seq, bytesOf(plan.Cycle), bytesOf(plan.Answer))
		if err != nil && t.q.Duplicate(err) {
			return store.Errorf(store.Exists, "PLAN_EXISTS", "site %s has a plan %s already", t.site, plan.ID).With("plan", plan.ID)
		}
		return err
	}
	n, err := t.exec(ctx, `UPDATE plans SET display_name = $3, state = $4, hold_until = $5, sorties = $6, waivers = $7, reason = $8, update_time = $9, seq = $10
		WHERE site = $1 AND id = $2 AND seq = $11`,
		t.site, plan.ID, plan.DisplayName, string(plan.State), store.Micros(plan.HoldUntil), sorties, waivers, plan.Reason,
		store.Micros(plan.UpdateTime), plan.Seq, was)
	if err == nil && n != 1 {
		return changed("plan", plan.ID)
	}
	return err
}

// bytesOf turns nil into an empty value, which the columns want.
func bytesOf(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
