package rpc

import (
	"context"
	"testing"

	"google.golang.org/grpc/codes"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/access"
)

// Who acted is who called, where the service knows it; what the request states is
// then a remark. Nobody can state that they were proven.
func TestWhoActsIsWhoCalls(t *testing.T) {
	k := keeping(t)
	k.lot("lot-01", 1)
	known := access.WithCaller(context.Background(), access.Identity{Name: "quill@varrow"})
	for _, c := range []struct {
		ctx            context.Context
		stated, logged string
		proven         bool
	}{
		{context.Background(), "tern", "tern", false},
		{access.WithCaller(context.Background(), access.Identity{}), "tern", "tern", false},
		{known, "tern", "proven: quill@varrow on behalf of tern", true},
		{known, "quill@varrow", "proven: quill@varrow", true},
		{known, "", "proven: quill@varrow", true},
	} {
		count := &bowrollv1.CountLotRequest{Name: varrow + "/lots/lot-01", Reason: "weekly", Actor: c.stated, RequestId: k.id()}
		if _, err := k.stock.CountLot(c.ctx, count); err != nil {
			t.Fatal(err)
		}
		log, err := k.stock.ListMovements(context.Background(), &bowrollv1.ListMovementsRequest{Parent: varrow, PageSize: 1000})
		if err != nil {
			t.Fatal(err)
		}
		last := log.GetMovements()[len(log.GetMovements())-1]
		if last.GetActor() != c.logged || last.GetActorProven() != c.proven {
			t.Errorf("stated %q: the log says %q, proven %v", c.stated, last.GetActor(), last.GetActorProven())
		}
	}
	count := &bowrollv1.CountLotRequest{Name: varrow + "/lots/lot-01", Reason: "weekly", Actor: "proven: chief@varrow", RequestId: k.id()}
	for _, ctx := range []context.Context{context.Background(), known} {
		_, err := k.stock.CountLot(ctx, count)
		wantCode(t, err, codes.InvalidArgument, "ACTOR_RESERVED")
	}
	count.Actor = ""
	_, err := k.stock.CountLot(context.Background(), count)
	wantCode(t, err, codes.InvalidArgument, "ACTOR_MISSING")
}
