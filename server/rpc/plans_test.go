package rpc

import (
	"context"
	"math"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// saved keeps the plan of the test cycle under an id.
func (k *kept) saved(t *testing.T, id string, answer *bowrollv1.CyclePlan) *bowrollv1.Plan {
	t.Helper()
	plan, err := k.plans.CreatePlan(context.Background(), &bowrollv1.CreatePlanRequest{
		Parent: varrow, PlanId: id, DisplayName: "noon", Cycle: testCycle(), Answer: answer, Actor: "planner", RequestId: k.id(),
	})
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

func (k *kept) confirm(plan *bowrollv1.Plan) (*bowrollv1.Plan, error) {
	return k.plans.ConfirmPlan(context.Background(), &bowrollv1.ConfirmPlanRequest{
		Name: plan.GetName(), Etag: plan.GetEtag(), HoldUntilTime: timestamppb.New(k.now.Add(2 * time.Hour)), Actor: "planner", RequestId: k.id(),
	})
}

// Two plans made on the same stock: the first gets it, the second gets nothing
// and is told what changed.
func TestTwoPlansOfOneStock(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 3)
	k.lot("lot-02", 4)
	answer := plan(t, testCycle(), 2)
	one, two := k.saved(t, "one", answer), k.saved(t, "two", answer)
	if one.GetPinned().GetCatalogRevision() != answer.GetProvenance().GetCatalogRevision() || !proto.Equal(one.GetAnswer(), answer) {
		t.Errorf("the plan does not keep what it was made from")
	}
	confirmed, err := k.confirm(one)
	if err != nil {
		t.Fatal(err)
	}
	reserved := 0
	for _, sortie := range confirmed.GetSorties() {
		for _, draw := range sortie.GetDraws() {
			if len(draw.GetUnits()) != int(draw.GetUnitCount()) {
				t.Errorf("%v", draw)
			}
			reserved += len(draw.GetUnits())
		}
	}
	if reserved != int(answer.GetObjective().GetUnitsUsed()) {
		t.Errorf("%d units reserved, the plan needs %d", reserved, answer.GetObjective().GetUnitsUsed())
	}
	_, err = k.confirm(two)
	wantCode(t, err, codes.Aborted, "STOCK_SHORT", "reserved")
	still, err := k.plans.GetPlan(context.Background(), &bowrollv1.GetPlanRequest{Name: two.GetName()})
	if err != nil || still.GetState() != bowrollv1.PlanState_PLAN_STATE_DRAFT || still.GetEtag() != two.GetEtag() {
		t.Errorf("%v %v", still, err)
	}
	_, err = k.confirm(one)
	wantCode(t, err, codes.Aborted, "ETAG_MISMATCH")
	// The first is given up, and the second can have it.
	if _, err := k.plans.CancelPlan(context.Background(), &bowrollv1.CancelPlanRequest{Name: one.GetName(), Reason: "fog", Actor: "planner", RequestId: k.id()}); err != nil {
		t.Fatal(err)
	}
	if _, err := k.confirm(two); err != nil {
		t.Error(err)
	}
	// Nobody issues the units, and the clock runs out: visibly.
	k.now = k.now.Add(3 * time.Hour)
	expired, err := k.plans.ExpirePlans(context.Background(), &bowrollv1.ExpirePlansRequest{Parent: varrow, Actor: "service", RequestId: k.id()})
	if err != nil || len(expired.GetPlans()) != 1 || expired.GetPlans()[0] != "two" {
		t.Errorf("%v %v", expired, err)
	}
	gone, err := k.plans.ListPlans(context.Background(), &bowrollv1.ListPlansRequest{Parent: varrow, State: bowrollv1.PlanState_PLAN_STATE_EXPIRED.Enum()})
	if err != nil || len(gone.GetPlans()) != 1 || gone.GetPlans()[0].GetReason() == "" || gone.GetPlans()[0].GetCycle() != nil {
		t.Errorf("%v %v", gone, err)
	}
	log, err := k.stock.VerifyLog(context.Background(), &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil || !log.GetHolds() {
		t.Errorf("%v %v", log, err)
	}
}

func TestCreatePlanFindsWhatDoesNotBelong(t *testing.T) {
	k := keeping(t)
	answer := plan(t, testCycle(), 2)
	answer.Id = "midnight"
	answer.Launches[0].Sortie = "ghost"
	answer.Provenance = nil
	_, err := k.plans.CreatePlan(context.Background(), &bowrollv1.CreatePlanRequest{
		Parent: "sites/skarn-field", PlanId: "x", Cycle: testCycle(), Answer: answer, Actor: "p", RequestId: k.id(),
	})
	wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid)
	fields := map[string]bool{}
	for _, fault := range refusal.Status(err).GetViolations() {
		fields[fault.GetField()] = true
	}
	for _, field := range []string{"cycle.deck", "answer.id", "answer.provenance", "answer.launches[0].sortie"} {
		if !fields[field] {
			t.Errorf("%s is not among %v", field, fields)
		}
	}
}

// A card holds inside its box, and is void outside it, side by side.
func TestRecheckSaysWhichSideWasCrossed(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 3)
	k.lot("lot-02", 4)
	saved := k.saved(t, "noon", plan(t, testCycle(), 2))
	if _, err := k.confirm(saved); err != nil {
		t.Fatal(err)
	}
	launch := saved.GetAnswer().GetLaunches()[0]
	found := foundBox(launch)
	if found.LeastHeadwindMps == nil {
		t.Fatal("the plan found no least headwind")
	}
	card := &bowrollv1.IssueCardRequest{
		Name: saved.GetName(), Sortie: launch.GetSortie(), UntilTime: timestamppb.New(k.now.Add(time.Hour)), Actor: "deck", RequestId: k.id(),
		Box: &bowrollv1.CardBox{LeastHeadwindMps: proto.Float64(found.GetLeastHeadwindMps() - 1), GreatestCrosswindMps: proto.Float64(4)},
	}
	_, err := k.plans.IssueCard(context.Background(), card)
	wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid, "box.least_headwind_mps")
	card.Box.LeastHeadwindMps = nil
	if _, err := k.plans.IssueCard(context.Background(), card); err != nil {
		t.Fatal(err)
	}
	inside := &bowrollv1.LiveInputs{
		HeadwindMps: proto.Float64(found.GetLeastHeadwindMps()), CrosswindMps: proto.Float64(-4), GrossMassKg: found.GreatestMassKg,
		TemperatureC: proto.Float64(-20), GrainTemperatureC: proto.Float64(20), SpotOffsetM: proto.Float64(-found.GetSpotToleranceM()),
	}
	recheck := &bowrollv1.RecheckPlanRequest{Name: saved.GetName(), Inputs: []*bowrollv1.LiveInputs{inside}}
	got, err := k.plans.RecheckPlan(context.Background(), recheck)
	if err != nil || got.GetHoldsCount() != 1 || got.GetVoidCount() != 0 {
		t.Fatalf("%v %v", got, err)
	}
	// Inputs of one sortie say nothing of the cards of others, and one without a card
	// is refused.
	inside.Sortie = launch.GetSortie()
	got, err = k.plans.RecheckPlan(context.Background(), recheck)
	if err != nil || len(got.GetCards()) != 1 || got.GetHoldsCount() != 1 {
		t.Errorf("inputs of its sortie: %v %v", got, err)
	}
	inside.Sortie = "none-1"
	for _, void := range []bool{false, true} {
		_, err = k.plans.RecheckPlan(context.Background(), &bowrollv1.RecheckPlanRequest{Name: saved.GetName(), Inputs: recheck.GetInputs(), VoidCards: void, Actor: "deck", RequestId: k.id()})
		wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid, "inputs[0].sortie")
	}
	inside.Sortie = ""
	// What is not known cannot hold.
	inside.CrosswindMps = nil
	got, err = k.plans.RecheckPlan(context.Background(), recheck)
	if err != nil || got.GetVoidCount() != 1 || got.GetCards()[0].GetSides()[0].GetQuantity() != "crosswind_mps" || got.GetCards()[0].GetSides()[0].Value != nil {
		t.Errorf("%v %v", got, err)
	}
	inside.CrosswindMps = proto.Float64(-4)
	// Each side is watched: the one that is crossed is named, and the one it is.
	for quantity, cross := range map[string]func(in *bowrollv1.LiveInputs) *float64{
		"headwind_mps": func(in *bowrollv1.LiveInputs) *float64 {
			in.HeadwindMps = proto.Float64(*found.GreatestHeadwindMps + 1)
			return found.GreatestHeadwindMps
		},
		"gross_mass_kg": func(in *bowrollv1.LiveInputs) *float64 {
			in.GrossMassKg = proto.Float64(*found.LeastMassKg - 1)
			return found.LeastMassKg
		},
		"temperature_c": func(in *bowrollv1.LiveInputs) *float64 {
			in.TemperatureC = proto.Float64(*found.GreatestTemperatureC + 1)
			return found.GreatestTemperatureC
		},
		"spot_m": func(in *bowrollv1.LiveInputs) *float64 {
			in.SpotOffsetM = proto.Float64(*found.SpotToleranceM + 1)
			return found.SpotToleranceM
		},
	} {
		outside := proto.CloneOf(inside)
		limit := cross(outside)
		got, err := k.plans.RecheckPlan(context.Background(), &bowrollv1.RecheckPlanRequest{Name: saved.GetName(), Inputs: []*bowrollv1.LiveInputs{outside}})
		if err != nil {
			t.Fatal(err)
		}
		if side := got.GetCards()[0].GetSides()[0]; side.GetQuantity() != quantity || side.GetLimit() != *limit || math.Abs(side.GetShortfall()-1) > 1e-9 {
			t.Errorf("%s: %v", quantity, got)
		}
	}
	inside.CrosswindMps = proto.Float64(-5)
	recheck.VoidCards = true
	_, err = k.plans.RecheckPlan(context.Background(), recheck)
	wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid, "request_id")
	recheck.RequestId = k.id()
	_, err = k.plans.RecheckPlan(context.Background(), recheck)
	wantCode(t, err, codes.InvalidArgument, "ACTOR_MISSING")
	recheck.Actor = "deck"
	got, err = k.plans.RecheckPlan(context.Background(), recheck)
	if err != nil || got.GetCards()[0].GetSides()[0].GetShortfall() != 1 {
		t.Errorf("%v %v", got, err)
	}
	void, err := k.plans.GetPlan(context.Background(), &bowrollv1.GetPlanRequest{Name: saved.GetName()})
	if err != nil || void.GetSorties()[0].GetState() != bowrollv1.SortieState_SORTIE_STATE_VOID || len(void.GetSorties()[0].GetVoidReasons()) != 1 {
		t.Errorf("%v %v", void.GetSorties()[0], err)
	}
	// A new card may be issued, and runs out by itself.
	card.RequestId, card.UntilTime = k.id(), timestamppb.New(k.now.Add(time.Minute))
	if again, err := k.plans.IssueCard(context.Background(), card); err != nil || again.GetSorties()[0].GetCardRevision() != 2 {
		t.Errorf("%v %v", again, err)
	}
	k.now = k.now.Add(2 * time.Minute)
	inside.CrosswindMps, recheck.VoidCards = proto.Float64(0), false
	got, err = k.plans.RecheckPlan(context.Background(), recheck)
	if err != nil || got.GetVoidCount() != 1 || got.GetCards()[0].GetSides()[0].GetQuantity() != "until_time" {
		t.Errorf("%v %v", got, err)
	}
}

// sent is one mutating call of a morning.
type sent struct {
	request mutation
	call    func(ctx context.Context, r mutation) (proto.Message, error)
}

// as adapts a method to [sent].
func as[R mutation, A proto.Message](method func(context.Context, R) (A, error)) func(context.Context, mutation) (proto.Message, error) {
	return func(ctx context.Context, r mutation) (proto.Message, error) { return method(ctx, r.(R)) }
}

// Every mutating call may be sent again: one after the other, 16 at once, after
// a restart; and with another body it is refused. It happens once.
func TestEveryMutationOnce(t *testing.T) {
	k := keeping(t)
	answer := withCautions(t)
	var first []proto.Message
	var done []func() sent
	twice := func(make func() sent) proto.Message {
		t.Helper()
		s := make()
		name := s.request.ProtoReflect().Descriptor().Name()
		got, err := s.call(context.Background(), s.request)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		again, err := s.call(context.Background(), s.request)
		if err != nil || !proto.Equal(again, got) {
			t.Errorf("%s again: %v %v", name, again, err)
		}
		answers, errs := concurrently(func() (proto.Message, error) { return s.call(context.Background(), s.request) })
		for i := range answers {
			if errs[i] != nil || !proto.Equal(answers[i], got) {
				t.Errorf("%s at once: %v %v", name, answers[i], errs[i])
			}
		}
		other := proto.Clone(s.request).(mutation)
		other.ProtoReflect().Set(other.ProtoReflect().Descriptor().Fields().ByName("actor"), protoreflect.ValueOfString("somebody else"))
		_, err = s.call(context.Background(), other)
		wantCode(t, err, codes.FailedPrecondition, "REQUEST_ID_REUSED")
		first = append(first, got)
		done = append(done, func() sent {
			fresh := make()
			fresh.request = s.request
			return fresh
		})
		return got
	}
	lot, name := varrow+"/lots/lot-01", varrow+"/plans/noon"
	twice(func() sent {
		return sent{&bowrollv1.CreateLotRequest{Parent: varrow, LotId: "lot-01", Lot: boosterLot(), Units: []string{"a-1", "a-2"}, Place: "mag-1", Reason: "d", Actor: "k", RequestId: "request-create"}, as(k.stock.CreateLot)}
	})
	k.lot("lot-02", 4)
	twice(func() sent {
		return sent{&bowrollv1.ReceiveUnitsRequest{Name: lot, Units: []string{"a-3"}, Place: "mag-1", Reason: "d", Actor: "k", RequestId: "request-receive"}, as(k.stock.ReceiveUnits)}
	})
	twice(func() sent {
		all := append(steps(bowrollv1.UnitEvent_UNIT_EVENT_INSPECT, "a-1", "a-2", "a-3"), steps(bowrollv1.UnitEvent_UNIT_EVENT_ACCEPT, "a-1", "a-2", "a-3")...)
		return sent{&bowrollv1.MoveUnitsRequest{Parent: varrow, Steps: all, Actor: "k", RequestId: "request-move"}, as(k.stock.MoveUnits)}
	})
	twice(func() sent {
		return sent{&bowrollv1.ImportMovementsRequest{Parent: varrow, Csv: "unit,event,reason,place\na-1,move,room,mag-2\n", Actor: "k", RequestId: "request-import"}, as(k.stock.ImportMovements)}
	})
	twice(func() sent {
		return sent{&bowrollv1.CountLotRequest{Name: lot, UnitsSeen: []string{"a-1", "x-1"}, Reason: "weekly", Actor: "k", RequestId: "request-count"}, as(k.stock.CountLot)}
	})
	twice(func() sent {
		return sent{&bowrollv1.RecordReadingsRequest{Name: lot, Actor: "k", RequestId: "request-read", Readings: []*bowrollv1.Reading{{Time: timestamppb.New(testStart), TemperatureC: proto.Float64(20)}}}, as(k.stock.RecordReadings)}
	})
	twice(func() sent {
		return sent{&bowrollv1.SuspendLotRequest{Name: lot, Reason: "a letter", Actor: "k", RequestId: "request-suspend"}, as(k.stock.SuspendLot)}
	})
	lifted := twice(func() sent {
		return sent{&bowrollv1.LiftSuspensionRequest{Name: lot, Reason: "tested", Authority: "ordnance officer", Actor: "k", RequestId: "request-lift"}, as(k.stock.LiftSuspension)}
	}).(*bowrollv1.StockLot)
	twice(func() sent {
		return sent{&bowrollv1.UpdateLotRequest{Name: lot, Lot: boosterLot(), Etag: lifted.GetEtag(), Reason: "r", Actor: "k", RequestId: "request-update"}, as(k.stock.UpdateLot)}
	})
	saved := twice(func() sent {
		return sent{&bowrollv1.CreatePlanRequest{Parent: varrow, PlanId: "noon", Cycle: testCycle(), Answer: answer, Actor: "p", RequestId: "request-save"}, as(k.plans.CreatePlan)}
	}).(*bowrollv1.Plan)
	confirmed := twice(func() sent {
		return sent{&bowrollv1.ConfirmPlanRequest{Name: name, Etag: saved.GetEtag(), HoldUntilTime: timestamppb.New(testStart.Add(time.Hour)), Actor: "p", RequestId: "request-confirm"}, as(k.plans.ConfirmPlan)}
	}).(*bowrollv1.Plan)
	cautious := answer.GetLaunches()[0].GetSortie()
	twice(func() sent {
		return sent{&bowrollv1.RecordWaiverRequest{Name: name, Sortie: cautious, Caution: "tailwind", Authority: "M. Brume", Reason: "dry deck", UntilTime: timestamppb.New(testStart.Add(time.Hour)), Actor: "p", RequestId: "request-waive"}, as(k.plans.RecordWaiver)}
	})
	twice(func() sent {
		return sent{&bowrollv1.RevokeWaiverRequest{Name: name, Sortie: cautious, Caution: "tailwind", Reason: "rain", Actor: "p", RequestId: "request-revoke"}, as(k.plans.RevokeWaiver)}
	})
	var launch *bowrollv1.PlanSortie
	var scrub string
	for _, sortie := range confirmed.GetSorties() {
		if len(sortie.GetDraws()) > 0 && launch == nil {
			launch = sortie
		} else {
			scrub = sortie.GetId()
		}
	}
	twice(func() sent {
		return sent{&bowrollv1.IssueCardRequest{Name: name, Sortie: launch.GetId(), UntilTime: timestamppb.New(testStart.Add(time.Hour)), Actor: "d", RequestId: "request-card"}, as(k.plans.IssueCard)}
	})
	twice(func() sent {
		return sent{&bowrollv1.RecheckPlanRequest{Name: name, Inputs: []*bowrollv1.LiveInputs{{}}, VoidCards: true, Actor: "d", RequestId: "request-recheck"}, as(k.plans.RecheckPlan)}
	})
	var units []string
	for _, draw := range launch.GetDraws() {
		units = append(units, draw.GetUnits()...)
	}
	k.move(bowrollv1.UnitEvent_UNIT_EVENT_ISSUE, units...)
	k.move(bowrollv1.UnitEvent_UNIT_EVENT_FIT, units...)
	k.move(bowrollv1.UnitEvent_UNIT_EVENT_ARM, units...)
	twice(func() sent {
		return sent{&bowrollv1.RecordLaunchRequest{Name: name, Sortie: launch.GetId(), LaunchTime: timestamppb.New(testStart), Outcomes: steps(bowrollv1.UnitEvent_UNIT_EVENT_EXPEND, units...), Actor: "d", RequestId: "request-launch"}, as(k.plans.RecordLaunch)}
	})
	twice(func() sent {
		return sent{&bowrollv1.ScrubSortieRequest{Name: name, Sortie: scrub, Reason: "engine", Actor: "d", RequestId: "request-scrub"}, as(k.plans.ScrubSortie)}
	})
	k.now = k.now.Add(90 * time.Minute)
	twice(func() sent {
		return sent{&bowrollv1.ExpirePlansRequest{Parent: varrow, Actor: "s", RequestId: "request-expire"}, as(k.plans.ExpirePlans)}
	})
	spare := k.saved(t, "spare", answer)
	twice(func() sent {
		return sent{&bowrollv1.CancelPlanRequest{Name: spare.GetName(), Reason: "fog", Actor: "p", RequestId: "request-cancel"}, as(k.plans.CancelPlan)}
	})
	// Every method of the two services that takes a request_id was called.
	called := map[protoreflect.Name]bool{}
	for _, again := range done {
		called[again().request.ProtoReflect().Descriptor().Name()] = true
	}
	for _, file := range []protoreflect.FileDescriptor{bowrollv1.File_bowroll_v1_stock_proto, bowrollv1.File_bowroll_v1_plans_proto} {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				if input := methods.Get(j).Input(); input.Fields().ByName("request_id") != nil && !called[input.Name()] && input.Name() != "MergeMovementsRequest" { // that has a test of its own
					t.Errorf("%s was not tried", methods.Get(j).FullName())
				}
			}
		}
	}
	before, err := k.stock.VerifyLog(context.Background(), &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil || !before.GetHolds() {
		t.Fatalf("%v %v", before, err)
	}
	k.restart()
	for i, again := range done {
		s := again()
		got, err := s.call(context.Background(), s.request)
		if err != nil || !proto.Equal(got, first[i]) {
			t.Errorf("%s after a restart: %v %v", s.request.ProtoReflect().Descriptor().Name(), got, err)
		}
	}
	after, err := k.stock.VerifyLog(context.Background(), &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil || after.GetHash() != before.GetHash() {
		t.Errorf("something happened twice: %v %v", after, err)
	}
}
