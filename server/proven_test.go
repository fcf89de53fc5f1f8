package server_test

import (
	"context"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server"
	"bowroll/server/assembly"
)

// Whoever is known by a token is in the ledger as proven, with on whose behalf,
// over both transports.
func TestTheLedgerNamesWhoWasProven(t *testing.T) {
	folder, err := assembly.BuiltInCatalog()
	if err != nil {
		t.Fatal(err)
	}
	config := server.Config{
		Log: zap.NewNop(), Registry: prometheus.NewRegistry(), Screen: screen(t), Cores: 1, Grace: time.Second, NewID: assembly.NewID,
	}
	g, signs := guard(t, config.Registry)
	config.Access = g
	kept, err := assembly.OpenStore(t.Context(), filepath.Join(t.TempDir(), "bowroll.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := kept.Close(); err != nil {
			t.Error(err)
		}
	})
	s, err := assembly.New(config, folder, assembly.WithStore(kept, time.Now))
	if err != nil {
		t.Fatal(err)
	}
	h := around(t, s)
	bearer := "Bearer " + signs.token(t, "quill", "armament@varrow")
	ctx := metadata.AppendToOutgoingContext(context.Background(), "authorization", bearer)
	stock := bowrollv1.NewStockClient(h.conn)
	if _, err := stock.CreateLot(ctx, &bowrollv1.CreateLotRequest{
		Parent: "sites/varrow", LotId: "lot-01", Units: []string{"u-1"}, Place: "mag-1", Reason: "note", Actor: "tern", RequestId: "create-lot-01",
		Lot: &bowrollv1.StockLot{Kind: bowrollv1.LotKind_LOT_KIND_BOOSTER, Type: "boosterTypes/emberlin-6", ExpireTime: timestamppb.New(time.Now().AddDate(10, 0, 0))},
	}); err != nil {
		t.Fatal(err)
	}
	for request, actor := range map[string]string{"count-lot-02": `"actor":"heron",`, "count-lot-03": ""} {
		web := h.post(t, "/v1/sites/varrow/lots/lot-01:count", `{`+actor+`"units_seen":["u-1"],"reason":"weekly","request_id":"`+request+`"}`, "Authorization", bearer)
		if web.code != http.StatusOK {
			t.Fatalf("%d %s", web.code, web.body(t))
		}
	}
	log, err := stock.ListMovements(ctx, &bowrollv1.ListMovementsRequest{Parent: "sites/varrow"})
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]int{}
	for _, entry := range log.GetMovements() {
		found[entry.GetActor()]++
	}
	// The lot and its unit were received over gRPC; two counts came over JSON.
	if len(found) != 3 || found["proven: quill on behalf of tern"] != 2 || found["proven: quill on behalf of heron"] != 1 || found["proven: quill"] != 1 {
		t.Errorf("the ledger names %v", found)
	}
}
