package rpc

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/catalog"
	"bowroll/server/refusal"
	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// Plans answers the plans service from a store.
type Plans struct {
	bowrollv1.UnimplementedPlansServer
	keeper
	again *recomputer // nil where no revisions are kept
}

// NewPlans returns the plans service over a store. Sites are those of the
// snapshot; now is the wall clock of the site.
func NewPlans(kept store.Store, snapshot *catalog.Snapshot, now func() time.Time) *Plans {
	return &Plans{keeper: keeper{store: kept, snapshot: snapshot, now: now}}
}

// CreatePlan keeps a plan.
func (p *Plans) CreatePlan(ctx context.Context, r *bowrollv1.CreatePlanRequest) (*bowrollv1.Plan, error) {
	site, err := p.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	plan, faults := planOf(r)
	if err := refusal.Invalid(faults); err != nil {
		return nil, err
	}
	if err := p.pins(ctx, plan.CatalogRevision); err != nil {
		return nil, err
	}
	return p.change(ctx, site, "CreatePlan", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.SavePlan(ctx, plan)
	})
}

// pins refuses a plan whose revision of the catalog the store never had: nobody
// could compute it again.
func (p *Plans) pins(ctx context.Context, revision string) error {
	return p.read(ctx, store.Fleet, func(ctx context.Context, r store.Reader) error {
		if head, err := r.Head(ctx); err != nil || head.Seq == 0 {
			return err // a store without a catalog of its own
		}
		_, err := r.CatalogRevision(ctx, revision)
		if store.Is(err, store.NotFound) {
			return store.Errorf(store.Refused, "CATALOG_REVISION_UNKNOWN",
				"the plan was computed with revision %s of a catalog, which this service never had: bring that catalog in, or plan the cycle again here", revision).
				At("answer.provenance.catalog_revision").With("revision", revision)
		}
		return err
	})
}

// planOf makes the plan that a request asks to keep, and finds where cycle and
// answer do not belong together.
func planOf(r *bowrollv1.CreatePlanRequest) (store.Plan, []*bowrollv1.Violation) {
	cycle, answer := r.GetCycle(), r.GetAnswer()
	var faults []*bowrollv1.Violation
	fault := func(field, value, rule, allowed, hint string) {
		faults = append(faults, &bowrollv1.Violation{Field: field, Value: value, Rule: rule, Allowed: allowed, Hint: hint})
	}
	if !strings.HasPrefix(cycle.GetDeck(), r.GetParent()+"/") {
		fault("cycle.deck", cycle.GetDeck(), "site", "a deck of "+r.GetParent(), "a site keeps the plans of its own decks")
	}
	if answer.GetId() != cycle.GetId() {
		fault("answer.id", answer.GetId(), "same", cycle.GetId(), "the answer is to another cycle")
	}
	if answer.GetProvenance().GetModelVersion() == "" || answer.GetProvenance().GetCatalogRevision() == "" || answer.GetProvenance().GetRequestDigest() == "" {
		fault("answer.provenance", "", "required", "model_version, catalog_revision and request_digest", "send the answer as Cycles.Plan gave it")
	}
	lots := map[string]bool{}
	for _, lot := range cycle.GetLots() {
		lots[lot.GetId()] = true
	}
	queue := map[string]bool{}
	for _, sortie := range cycle.GetSorties() {
		queue[sortie.GetId()] = true
	}
	plan := store.Plan{
		ID: r.GetPlanId(), DisplayName: r.GetDisplayName(), ModelVersion: answer.GetProvenance().GetModelVersion(),
		CatalogRevision: answer.GetProvenance().GetCatalogRevision(), RequestDigest: answer.GetProvenance().GetRequestDigest(),
		Cycle: encoded(cycle), Answer: encoded(answer),
	}
	start := cycle.GetStartTime().AsTime()
	for i, launch := range answer.GetLaunches() {
		at := fmt.Sprintf("answer.launches[%d]", i)
		if !queue[launch.GetSortie()] {
			fault(at+".sortie", launch.GetSortie(), "known", "a sortie of the cycle, once", "")
		}
		delete(queue, launch.GetSortie())
		if s := launch.GetLaunchS(); !(s >= -86400 && s <= 86400) {
			fault(at+".launch_s", fmt.Sprint(s), "range", "-86400 to 86400", "")
			continue
		}
		sortie := store.Sortie{ID: launch.GetSortie(), LaunchTime: start.Add(time.Duration(launch.GetLaunchS() * float64(time.Second)))}
		for j, draw := range launch.GetDraws() {
			if !lots[draw.GetLot()] {
				fault(fmt.Sprintf("%s.draws[%d].lot", at, j), draw.GetLot(), "known", "a lot of the cycle", "")
			}
			if n := draw.GetUnitCount(); n < 1 || n > 32 {
				fault(fmt.Sprintf("%s.draws[%d].unit_count", at, j), fmt.Sprint(n), "range", "1 to 32", "")
				continue
			}
			sortie.Draws = append(sortie.Draws, store.Draw{Lot: draw.GetLot(), Count: int(draw.GetUnitCount()), Stations: draw.GetStations()})
		}
		plan.Sorties = append(plan.Sorties, sortie)
	}
	return plan, faults
}

// encoded is a message as it is kept.
func encoded(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil // only for text that is not UTF-8, which no entry lets in
	}
	return b
}

// change runs a change that answers with the plan.
func (p *Plans) change(ctx context.Context, site, method string, r mutation, change func(ctx context.Context, book *ledger.Book) (store.Plan, error)) (*bowrollv1.Plan, error) {
	return keep(ctx, &p.keeper, site, method, r, false, &bowrollv1.Plan{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.Plan, error) {
		plan, err := change(ctx, book)
		if err != nil {
			return nil, err
		}
		return p.whole(plan, r)
	})
}

// whole is a plan with cycle and answer as the answer to a request.
func (p *Plans) whole(plan store.Plan, r proto.Message) (*bowrollv1.Plan, error) {
	m := planMessage(plan, p.now())
	var err error
	if m.Cycle, err = cycleOf(plan); err != nil {
		return nil, err
	}
	if m.Answer, err = answerOf(plan); err != nil {
		return nil, err
	}
	m.Provenance = provenance(p.snapshot, r)
	return m, nil
}

// planMessage is a plan as lists show it, with its waivers as they stand now.
func planMessage(plan store.Plan, now time.Time) *bowrollv1.Plan {
	m := &bowrollv1.Plan{
		Name: "sites/" + plan.Site + "/plans/" + plan.ID, DisplayName: plan.DisplayName, State: planStateName(plan.State),
		Reason: plan.Reason, HoldUntilTime: stamp(plan.HoldUntil), CreateTime: stamp(plan.CreateTime),
		UpdateTime: stamp(plan.UpdateTime), Etag: etag(plan.Seq),
		Pinned: &bowrollv1.Provenance{
			ModelVersion: plan.ModelVersion, CatalogRevision: plan.CatalogRevision, RequestDigest: plan.RequestDigest,
		},
	}
	for _, s := range plan.Sorties {
		sortie := &bowrollv1.PlanSortie{
			Id: s.ID, State: sortieStateName(s.State), LaunchTime: stamp(s.LaunchTime), CardRevision: int32(s.Card),
			CardUntilTime: stamp(s.CardUntil), VoidReasons: s.Void, Waivers: waiversOf(&plan, s.ID, now),
		}
		if s.Card > 0 {
			sortie.Box = boxOf(s)
		}
		for _, d := range s.Draws {
			sortie.Draws = append(sortie.Draws, &bowrollv1.PlanDraw{Lot: d.Lot, UnitCount: int32(d.Count), Units: d.Units, Stations: d.Stations})
		}
		m.Sorties = append(m.Sorties, sortie)
	}
	return m
}

// GetPlan returns one plan.
func (p *Plans) GetPlan(ctx context.Context, r *bowrollv1.GetPlanRequest) (answer *bowrollv1.Plan, err error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	err = p.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		plan, err := reader.Plan(ctx, id)
		if err != nil {
			return err
		}
		answer, err = p.whole(plan, r)
		return err
	})
	return answer, err
}

// ListPlans returns a page of the plans of a site.
func (p *Plans) ListPlans(ctx context.Context, r *bowrollv1.ListPlansRequest) (*bowrollv1.ListPlansResponse, error) {
	site, err := p.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	filter := store.PlanFilter{}
	if r.State != nil {
		filter.State = planStateOf(r.GetState())
	}
	at, after, size, err := seek(r.GetParent()+"/plans", string(filter.State), r.GetPageSize(), r.GetPageToken(), mostListed)
	if err != nil {
		return nil, err
	}
	answer := &bowrollv1.ListPlansResponse{Provenance: provenance(p.snapshot, r)}
	err = p.read(ctx, site, func(ctx context.Context, reader store.Reader) error {
		plans, err := reader.Plans(ctx, filter, after, size+1)
		if len(plans) > size {
			plans = plans[:size]
			answer.NextPageToken = next(at, plans[size-1].ID)
		}
		for _, plan := range plans {
			answer.Plans = append(answer.Plans, planMessage(plan, p.now()))
		}
		return err
	})
	return answer, err
}

// ConfirmPlan reserves every unit that a plan needs.
func (p *Plans) ConfirmPlan(ctx context.Context, r *bowrollv1.ConfirmPlanRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return p.change(ctx, site, "ConfirmPlan", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.Confirm(ctx, id, etagSeq(r.GetEtag()), r.GetHoldUntilTime().AsTime())
	})
}

// CancelPlan gives a plan up.
func (p *Plans) CancelPlan(ctx context.Context, r *bowrollv1.CancelPlanRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return p.change(ctx, site, "CancelPlan", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.CancelPlan(ctx, id, etagSeq(r.GetEtag()), r.GetReason())
	})
}

// RecordLaunch records a launch and what became of its units.
func (p *Plans) RecordLaunch(ctx context.Context, r *bowrollv1.RecordLaunchRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return p.change(ctx, site, "RecordLaunch", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.RecordLaunch(ctx, id, r.GetSortie(), r.GetLaunchTime().AsTime(), stepsOf(r.GetOutcomes()))
	})
}

// ScrubSortie takes a sortie out of a plan.
func (p *Plans) ScrubSortie(ctx context.Context, r *bowrollv1.ScrubSortieRequest) (*bowrollv1.Plan, error) {
	site, id, err := p.child("name", r.GetName())
	if err != nil {
		return nil, err
	}
	return p.change(ctx, site, "ScrubSortie", r, func(ctx context.Context, book *ledger.Book) (store.Plan, error) {
		return book.ScrubSortie(ctx, id, r.GetSortie(), r.GetReason())
	})
}

// ExpirePlans returns to stock what was reserved and not issued in time.
func (p *Plans) ExpirePlans(ctx context.Context, r *bowrollv1.ExpirePlansRequest) (*bowrollv1.ExpirePlansResponse, error) {
	site, err := p.site("parent", r.GetParent())
	if err != nil {
		return nil, err
	}
	return keep(ctx, &p.keeper, site, "ExpirePlans", r, false, &bowrollv1.ExpirePlansResponse{}, func(ctx context.Context, book *ledger.Book) (*bowrollv1.ExpirePlansResponse, error) {
		plans, err := book.ExpireReservations(ctx)
		return &bowrollv1.ExpirePlansResponse{Plans: plans, Provenance: provenance(p.snapshot, r)}, err
	})
}
