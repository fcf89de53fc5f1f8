package rpc

import (
	"context"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// The log goes from one store to another by the contract alone, in pages.
func TestMergeByPages(t *testing.T) {
	ctx := context.Background()
	ship, shore := keeping(t), keeping(t)
	ship.lot("lot-01", 5)
	list := &bowrollv1.ListMovementsRequest{Parent: varrow, PageSize: 4}
	var last *bowrollv1.MergeMovementsResponse
	for {
		page, err := ship.stock.ListMovements(ctx, list)
		if err != nil {
			t.Fatal(err)
		}
		merge := &bowrollv1.MergeMovementsRequest{Parent: varrow, Movements: page.GetMovements(), Actor: "shore", RequestId: shore.id()}
		if last, err = shore.stock.MergeMovements(ctx, merge); err != nil || int(last.GetAddedCount()) != len(page.GetMovements()) {
			t.Fatalf("%v %v", last, err)
		}
		again, err := shore.stock.MergeMovements(ctx, merge)
		if err != nil || !proto.Equal(again, last) {
			t.Errorf("%v %v", again, err)
		}
		other := proto.CloneOf(merge)
		other.Actor = "somebody else"
		_, err = shore.stock.MergeMovements(ctx, other)
		wantCode(t, err, codes.FailedPrecondition, "REQUEST_ID_REUSED")
		if page.GetComplete() {
			break
		}
		list.AfterSequence = last.GetLastSequence()
	}
	there, err := ship.stock.VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil {
		t.Fatal(err)
	}
	here, err := shore.stock.VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: varrow})
	if err != nil || !here.GetHolds() || here.GetHash() != there.GetHash() || last.GetHash() != there.GetHash() {
		t.Errorf("%v\n%v %v", there, here, err)
	}
	_, err = shore.stock.MoveUnits(ctx, &bowrollv1.MoveUnitsRequest{Parent: varrow, Actor: "k", RequestId: shore.id(), Steps: steps(bowrollv1.UnitEvent_UNIT_EVENT_DROP, "lot-01-u001")})
	wantCode(t, err, codes.FailedPrecondition, "SITE_ELSEWHERE")
	_, err = shore.stock.MergeMovements(ctx, &bowrollv1.MergeMovementsRequest{Parent: varrow, Actor: "k", RequestId: shore.id(), Movements: []*bowrollv1.Movement{{Sequence: 99, Hash: "zz"}}})
	wantCode(t, err, codes.InvalidArgument, refusal.ReasonInvalid, "movements[0].previous_hash")
}
