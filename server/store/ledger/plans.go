package ledger

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"bowroll/server/store"
)

// SavePlan keeps a plan. Nothing is reserved yet.
func (b *Book) SavePlan(ctx context.Context, plan store.Plan) (store.Plan, error) {
	if _, err := b.tx.Plan(ctx, plan.ID); err == nil {
		return plan, store.Errorf(store.Exists, "PLAN_EXISTS", "site %s has a plan %s already", b.tx.Site(), plan.ID).With("plan", plan.ID)
	} else if !store.Is(err, store.NotFound) {
		return plan, err
	}
	plan.Site, plan.State, plan.CreateTime = b.tx.Site(), store.Draft, b.by.Time
	for i := range plan.Sorties {
		plan.Sorties[i].State = store.SortiePlanned
	}
	b.plans[plan.ID] = &entry[store.Plan]{now: plan}
	m := b.record(store.Movement{Event: store.SavePlan, Plan: plan.ID, Reason: plan.DisplayName, Detail: detail(planDigest{
		Cycle: sum(plan.Cycle), Answer: sum(plan.Answer), Sorties: len(plan.Sorties),
		ModelVersion: plan.ModelVersion, CatalogRevision: plan.CatalogRevision, RequestDigest: plan.RequestDigest,
	})})
	b.changedPlan(m)
	return b.plans[plan.ID].now, nil
}

// planDigest is what the log says of the content of a plan.
type planDigest struct {
	Cycle           string `json:"cycle"`
	Answer          string `json:"answer"`
	Sorties         int    `json:"sorties"`
	ModelVersion    string `json:"model_version"`
	CatalogRevision string `json:"catalog_revision"`
	RequestDigest   string `json:"request_digest"`
}

func sum(b []byte) string {
	digest := sha256.Sum256(b)
	return "sha256:" + hex.EncodeToString(digest[:16])
}

// CancelPlan gives a plan up. Its reserved units go back to stock; units that
// are out already have to be returned first.
func (b *Book) CancelPlan(ctx context.Context, id string, was int64, reason string) (store.Plan, error) {
	plan, err := b.plan(ctx, id)
	if err != nil {
		return store.Plan{}, err
	}
	if err := sameVersion("plan", id, was, plan.Seq); err != nil {
		return *plan, err
	}
	if plan.State != store.Draft && plan.State != store.Confirmed {
		return *plan, planIs(plan, "cancelled")
	}
	if reason == "" {
		return *plan, store.Errorf(store.Invalid, "REASON_MISSING", "say why the plan is cancelled").At("reason")
	}
	if err := b.giveBack(ctx, store.ReservationFilter{Plan: id}, store.Release, reason); err != nil {
		return *plan, err
	}
	plan.State, plan.Reason = store.Cancelled, reason
	b.changedPlan(b.record(store.Movement{Event: store.CancelPlan, Plan: id, Reason: reason}))
	return *plan, nil
}

// giveBack releases the reserved units that match. A unit that is out already
// refuses all of it.
func (b *Book) giveBack(ctx context.Context, filter store.ReservationFilter, event store.Event, reason string) error {
	held, err := b.tx.Reservations(ctx, filter)
	if err != nil {
		return err
	}
	ids := make([]string, len(held))
	for i, one := range held {
		ids[i] = one.Unit
	}
	if err := b.load(ctx, ids); err != nil {
		return err
	}
	var out []string
	for _, id := range ids {
		if b.unit(id).State != store.Reserved {
			out = append(out, id+" ("+string(b.unit(id).State)+")")
		}
	}
	if len(out) > 0 {
		return store.Errorf(store.Refused, "UNITS_OUT", "these units are out: %s: return them first", join(out)).With("units", join(out))
	}
	for _, id := range ids {
		if _, err := b.changeUnit(store.Movement{Event: event, Unit: id, Reason: reason}); err != nil {
			return err
		}
	}
	return nil
}

// ExpireReservations returns to stock what was promised and not issued in time,
// and voids the sorties it was promised to. A plan none of whose units are out
// expires with it. It returns the ids of the plans it touched, in order.
func (b *Book) ExpireReservations(ctx context.Context) ([]string, error) {
	lapsed, err := b.tx.Reservations(ctx, store.ReservationFilter{Lapsed: b.by.Time})
	if err != nil || len(lapsed) == 0 {
		return nil, err
	}
	ids := make([]string, len(lapsed))
	for i, one := range lapsed {
		ids[i] = one.Unit
	}
	if err := b.load(ctx, ids); err != nil {
		return nil, err
	}
	var plans []string
	for _, one := range lapsed {
		until := one.Until.Format(rfc3339)
		if _, err := b.changeUnit(store.Movement{Event: store.TimeOut, Unit: one.Unit, Reason: "reserved until " + until}); err != nil {
			return nil, err
		}
		if _, err := b.void(ctx, one.Plan, one.Sortie, "its reservation ran out "+until); err != nil {
			return nil, err
		}
		if len(plans) == 0 || plans[len(plans)-1] != one.Plan {
			plans = append(plans, one.Plan)
		}
	}
	for _, id := range plans {
		if err := b.expirePlan(ctx, id); err != nil {
			return nil, err
		}
	}
	return plans, nil
}

// expirePlan expires a plan that holds nothing any more.
func (b *Book) expirePlan(ctx context.Context, id string) error {
	open, err := b.tx.Reservations(ctx, store.ReservationFilter{Plan: id})
	if err != nil {
		return err
	}
	for _, one := range open {
		if e, ok := b.units[one.Unit]; !ok || e.now.State.Held() {
			return nil
		}
	}
	plan, err := b.plan(ctx, id)
	if err != nil || plan.State != store.Confirmed {
		return err
	}
	for i := range plan.Sorties {
		if plan.Sorties[i].State == store.SortieLaunched {
			return nil
		}
	}
	plan.State, plan.Reason = store.Expired, "its reservations ran out "+plan.HoldUntil.Format(rfc3339)
	b.changedPlan(b.record(store.Movement{Event: store.ExpirePlan, Plan: id, Reason: plan.Reason}))
	return nil
}

// planIs is the refusal of a step that the state of a plan does not permit.
func planIs(plan *store.Plan, done string) *store.Error {
	return store.Errorf(store.Refused, "PLAN_STATE", "plan %s is %s: it cannot be %s", plan.ID, plan.State, done).
		With("plan", plan.ID).With("state", string(plan.State))
}

// latest returns the later of two times.
func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
