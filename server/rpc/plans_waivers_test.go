package rpc

import (
	"context"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// withCautions is the plan of the test cycle, of which one launch raises a tailwind
// and two sorties are late on deck; the whole cycle raises that it is not proven.
func withCautions(t *testing.T) *bowrollv1.CyclePlan {
	t.Helper()
	answer := plan(t, testCycle(), 2)
	one, other := answer.GetLaunches()[0], answer.GetLaunches()[1]
	one.Takeoff.Cautions = []*bowrollv1.Caution{
		{Id: "failure-not-covered", Severity: bowrollv1.Severity_SEVERITY_WARNING, Text: "A single failure has no way out that the policy accepts."},
		{Id: "tailwind", Severity: bowrollv1.Severity_SEVERITY_CAUTION, Text: "The run is planned on a tailwind of 2.0 m/s."},
	}
	other.Takeoff.Cautions = nil
	answer.Timeline = &bowrollv1.Timeline{Tasks: []*bowrollv1.DeckTask{
		{Sortie: one.GetSortie()}, {Sortie: other.GetSortie(), DelayS: 40, OverHoldS: proto.Float64(5)},
	}}
	for _, id := range []string{"tailwind", "timeline-late", "window-shut", "not-proven"} {
		answer.Cautions = append(answer.Cautions, &bowrollv1.Caution{Id: id, Severity: bowrollv1.Severity_SEVERITY_CAUTION, Text: id + "."})
	}
	return answer
}

// waived records a waiver that must be taken.
func (k *kept) waived(t *testing.T, sortie, caution string, until time.Time) *bowrollv1.Plan {
	t.Helper()
	got, err := k.plans.RecordWaiver(context.Background(), k.waiver(sortie, caution, until))
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func (k *kept) waiver(sortie, caution string, until time.Time) *bowrollv1.RecordWaiverRequest {
	return &bowrollv1.RecordWaiverRequest{
		Name: varrow + "/plans/noon", Sortie: sortie, Caution: caution, Authority: "M. Brume, flying officer", Reason: "dry deck, one launch",
		UntilTime: timestamppb.New(until), Actor: "planner", RequestId: k.id(),
	}
}

// A launch's own cautions can be waived, and those of its work on deck; nothing
// else can.
func TestWhatCanBeWaived(t *testing.T) {
	k := keeping(t)
	answer := withCautions(t)
	one, other := answer.GetLaunches()[0], answer.GetLaunches()[1]
	policy := one.GetTakeoff().GetPolicy()
	policy.Legs = bowrollv1.Legs_LEGS_EITHER
	k.saved(t, "noon", answer)
	ctx, until := context.Background(), k.now.Add(time.Hour)
	for _, c := range []struct{ sortie, caution, raised string }{
		{one.GetSortie(), "timeline-late", "it raises tailwind;"},       // another sortie's
		{one.GetSortie(), "not-proven", "it raises tailwind;"},          // of the cycle as a whole
		{one.GetSortie(), "failure-not-covered", "it raises tailwind;"}, // without a way out there is no card
		{one.GetSortie(), "run-too-long", "it raises tailwind;"},        // an outcome that holds
		{other.GetSortie(), "window-shut", "it raises timeline-late;"},
		{other.GetSortie(), "tailwind", "it raises timeline-late;"},
		{answer.GetLaunches()[2].GetSortie(), "timeline-late", "it raises "},
	} {
		_, err := k.plans.RecordWaiver(ctx, k.waiver(c.sortie, c.caution, until))
		wantCode(t, err, codes.InvalidArgument, "CAUTION_NOT_RAISED", "does not raise "+c.caution)
		if err == nil || !strings.Contains(err.Error(), c.raised) {
			t.Errorf("%s of %s: %v does not say %q", c.caution, c.sortie, err, c.raised)
		}
	}
	held := "birch-0"
	for _, h := range answer.GetHeld() {
		held = h.GetSortie()
	}
	_, err := k.plans.RecordWaiver(ctx, k.waiver(held, "tailwind", until))
	wantCode(t, err, codes.NotFound, "SORTIE_NOT_FOUND", "does not launch "+held)
	_, err = k.plans.RecordWaiver(ctx, &bowrollv1.RecordWaiverRequest{
		Name: varrow + "/plans/noon", Sortie: one.GetSortie(), Caution: "squall", Authority: " ", UntilTime: timestamppb.New(k.now), Actor: "p", RequestId: k.id(),
	})
	var fields []string
	for _, fault := range refusal.Status(err).GetViolations() {
		fields = append(fields, fault.GetField())
	}
	if wantCode(t, err, codes.InvalidArgument, "CAUTION_NOT_RAISED"); strings.Join(fields, " ") != "caution authority reason until_time" {
		t.Errorf("faults of %q", fields)
	}
	k.waived(t, other.GetSortie(), "timeline-late", until)
	got := k.waived(t, one.GetSortie(), "tailwind", until).GetSorties()[0].GetWaivers()
	if len(got) != 1 || got[0].GetText() != "The run is planned on a tailwind of 2.0 m/s." || got[0].GetState() != bowrollv1.WaiverState_WAIVER_STATE_IN_FORCE ||
		got[0].GetAuthority() != "M. Brume, flying officer" || got[0].GetActor() != "planner" || got[0].GetCardRevision() != 0 {
		t.Errorf("%v", got)
	}
	// Where the policy asks for no way out, there is a card, and its caution can be
	// accepted.
	policy.Legs = bowrollv1.Legs_LEGS_NEITHER
	if list := waivable(answer, one.GetSortie()); len(list) != 2 {
		t.Errorf("%v", list)
	}
}

// A waiver changes nothing that was computed, and nothing that is refused.
func TestWaiverChangesNoNumber(t *testing.T) {
	k := keeping(t)
	saved := k.saved(t, "noon", withCautions(t))
	got := k.waived(t, saved.GetSorties()[0].GetId(), "tailwind", k.now.Add(time.Hour))
	if !proto.Equal(got.GetAnswer(), saved.GetAnswer()) || !proto.Equal(got.GetCycle(), saved.GetCycle()) || !proto.Equal(got.GetPinned(), saved.GetPinned()) {
		t.Error("the plan says something else with a waiver")
	}
	_, err := k.plans.IssueCard(context.Background(), &bowrollv1.IssueCardRequest{
		Name: saved.GetName(), Sortie: saved.GetSorties()[0].GetId(), UntilTime: timestamppb.New(k.now.Add(time.Minute)), Actor: "d", RequestId: k.id(),
	})
	wantCode(t, err, codes.FailedPrecondition, "PLAN_STATE") // a draft, waiver or not
}

// A card says the waivers that were in force when it was issued, and holds no
// longer than they do.
func TestCardSaysItsWaivers(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 3)
	k.lot("lot-02", 4)
	ctx := context.Background()
	k.saved(t, "noon", withCautions(t))
	sortie := k.saved(t, "other", withCautions(t)).GetSorties()[0].GetId()
	plan := k.waived(t, sortie, "tailwind", k.now.Add(time.Hour))
	if _, err := k.confirm(plan); err != nil {
		t.Fatal(err)
	}
	card := func(until time.Time) (*bowrollv1.Plan, error) {
		return k.plans.IssueCard(ctx, &bowrollv1.IssueCardRequest{Name: plan.GetName(), Sortie: sortie, UntilTime: timestamppb.New(until), Actor: "d", RequestId: k.id()})
	}
	waiverSide := func() *bowrollv1.BoxSide {
		got, err := k.plans.RecheckPlan(ctx, &bowrollv1.RecheckPlanRequest{Name: plan.GetName(), Inputs: []*bowrollv1.LiveInputs{{}}})
		if err != nil {
			t.Fatal(err)
		}
		for _, side := range got.GetCards()[0].GetSides() {
			if side.GetQuantity() == "waiver" {
				return side
			}
		}
		return nil
	}
	_, err := card(k.now.Add(2 * time.Hour))
	wantCode(t, err, codes.FailedPrecondition, "CARD_OUTLIVES_WAIVER", "which ends "+k.now.Add(time.Hour).UTC().Format(time.RFC3339))
	issued, err := card(k.now.Add(time.Hour))
	if err != nil || issued.GetSorties()[0].GetWaivers()[0].GetCardRevision() != 1 {
		t.Fatalf("%v %v", issued, err)
	}
	if side := waiverSide(); !side.GetHolds() || !strings.Contains(side.GetText(), "by M. Brume, flying officer is in force until") {
		t.Errorf("%v", side)
	}
	start := k.now
	k.now = start.Add(61 * time.Minute)
	if side := waiverSide(); side.GetHolds() || !strings.Contains(side.GetText(), "ended") {
		t.Errorf("%v", side)
	}
	ended, err := k.plans.GetPlan(ctx, &bowrollv1.GetPlanRequest{Name: plan.GetName()})
	if err != nil || ended.GetSorties()[0].GetWaivers()[0].GetState() != bowrollv1.WaiverState_WAIVER_STATE_ENDED {
		t.Errorf("%v %v", ended.GetSorties()[0].GetWaivers(), err)
	}
	k.now = start
	revoked, err := k.plans.RevokeWaiver(ctx, &bowrollv1.RevokeWaiverRequest{Name: plan.GetName(), Sortie: sortie, Caution: "tailwind", Reason: "rain", Actor: "deck", RequestId: k.id()})
	if err != nil {
		t.Fatal(err)
	}
	got := revoked.GetSorties()[0]
	if w := got.GetWaivers()[0]; got.GetState() != bowrollv1.SortieState_SORTIE_STATE_VOID || len(got.GetVoidReasons()) != 1 ||
		w.GetState() != bowrollv1.WaiverState_WAIVER_STATE_REVOKED || w.GetRevokedBy() != "deck" || w.GetRevokeReason() != "rain" || w.GetRevokeTime() == nil {
		t.Errorf("%v", got)
	}
	if side := waiverSide(); side != nil {
		t.Errorf("a revoked waiver is said twice: %v", side)
	}
	log, err := k.stock.ListMovements(ctx, &bowrollv1.ListMovementsRequest{Parent: varrow, Plan: "noon"})
	if err != nil {
		t.Fatal(err)
	}
	var events []string
	for _, m := range log.GetMovements() {
		if m.GetUnit() == "" {
			events = append(events, m.GetEvent())
		}
		if m.GetEvent() == "record_waiver" && (m.GetAuthority() != "M. Brume, flying officer" || m.GetReason() != "dry deck, one launch" || m.GetSortie() != sortie ||
			m.GetUntilTime() == nil || m.GetDetail() != `{"caution":"tailwind","text":"The run is planned on a tailwind of 2.0 m/s."}`) {
			t.Errorf("%v", m)
		}
	}
	if want := "save_plan record_waiver confirm_plan issue_card revoke_waiver void_card"; strings.Join(events, " ") != want {
		t.Errorf("the log has %q, want %q", events, want)
	}
	if check, err := k.stock.VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: varrow}); err != nil || !check.GetHolds() {
		t.Errorf("%v %v", check, err)
	}
}
