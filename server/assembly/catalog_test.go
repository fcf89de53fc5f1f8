package assembly_test

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/assembly"
)

// over starts the service over a store.
func over(t *testing.T, path string) (*grpc.ClientConn, func()) {
	t.Helper()
	conn, stop, err := assembly.InProcessOver(path, time.Now)(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return conn, func() { _ = conn.Close(); stop() }
}

func wantCode(t *testing.T, err error, code codes.Code, words ...string) {
	t.Helper()
	if status.Code(err) != code {
		t.Errorf("got %v, want %v", err, code)
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%q is not in %v", word, err)
		}
	}
}

func TestCatalogChangesAndEveryServiceSeesIt(t *testing.T) {
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "bowroll.db")
	conn, stop := over(t, path)
	c := bowrollv1.NewCatalogClient(conn)
	first, err := c.ExportCatalog(ctx, &bowrollv1.ExportCatalogRequest{})
	if err != nil {
		t.Fatal(err)
	}

	// Create: known to another service at once; checked; the same again.
	base, err := c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: "aircraftTypes/corvane"})
	if err != nil {
		t.Fatal(err)
	}
	mine := proto.CloneOf(base)
	mine.Name = "aircraftTypes/corvane-b"
	create := &bowrollv1.CreateAircraftTypeRequest{AircraftType: mine, Reason: "new mark", Actor: "custodian", RequestId: "create-corvane-b"}
	checked := proto.CloneOf(create)
	checked.ValidateOnly = true
	if _, err := c.CreateAircraftType(ctx, checked); err != nil {
		t.Fatal(err)
	}
	_, err = c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: mine.Name})
	wantCode(t, err, codes.NotFound)
	made, err := c.CreateAircraftType(ctx, create)
	if err != nil || made.GetEtag() == "" || made.GetProvenance().GetCatalogRevision() == first.GetRevision() {
		t.Fatalf("%v, %v", made, err)
	}
	if again, err := c.CreateAircraftType(ctx, create); err != nil || !proto.Equal(again, made) {
		t.Errorf("the same again: %v, %v", again, err)
	}
	other := proto.CloneOf(create)
	other.RequestId = "create-corvane-c"
	_, err = c.CreateAircraftType(ctx, other)
	wantCode(t, err, codes.AlreadyExists, "corvane-b")
	off, err := bowrollv1.NewTakeoffsClient(conn).Compute(ctx, &bowrollv1.TakeoffsComputeRequest{Case: &bowrollv1.TakeoffCase{
		AircraftType: "aircraftTypes/corvane-b", Flap: "takeoff", GrossMassKg: proto.Float64(6000), HeadwindMps: proto.Float64(12),
		Air: &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(15)}, Deck: "sites/varrow/decks/main", Spot: "s6",
	}})
	if err != nil || off.GetProvenance().GetCatalogRevision() != made.GetProvenance().GetCatalogRevision() {
		t.Fatalf("a take-off of the new type: %v", err)
	}

	// Update: under the etag alone; what the rules refuse changes nothing.
	heavier := proto.CloneOf(made)
	heavier.GreatestMassKg = proto.Float64(made.GetGreatestMassKg() + 10)
	update := &bowrollv1.UpdateAircraftTypeRequest{Name: mine.Name, AircraftType: heavier, Etag: made.GetEtag(), Reason: "weighed", Actor: "custodian", RequestId: "update-corvane-b"}
	updated, err := c.UpdateAircraftType(ctx, update)
	if err != nil || updated.GetEtag() == made.GetEtag() {
		t.Fatal(updated, err)
	}
	late := proto.CloneOf(update)
	late.RequestId = "update-corvane-late"
	_, err = c.UpdateAircraftType(ctx, late)
	wantCode(t, err, codes.Aborted, "was changed since it was read")
	wrong := proto.CloneOf(update)
	wrong.RequestId, wrong.Etag, wrong.AircraftType.LeastMassKg = "update-corvane-wrong", updated.GetEtag(), proto.Float64(500000)
	_, err = c.UpdateAircraftType(ctx, wrong)
	wantCode(t, err, codes.InvalidArgument, "aircraft_type.")
	diff, err := c.DiffCatalog(ctx, &bowrollv1.DiffCatalogRequest{FromRevision: made.GetProvenance().GetCatalogRevision()})
	if err != nil || len(diff.GetChanges()) != 1 || diff.GetChanges()[0].GetFields()[0].GetField() != "greatest_mass_kg" {
		t.Errorf("diff: %v, %v", diff, err)
	}
	stop()

	// All of it is there after a restart, and the past is too.
	conn, stop = over(t, path)
	defer stop()
	c = bowrollv1.NewCatalogClient(conn)
	if still, err := c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: mine.Name}); err != nil || still.GetEtag() != updated.GetEtag() {
		t.Errorf("after a restart: %v, %v", still, err)
	}
	if old, err := c.ExportCatalog(ctx, &bowrollv1.ExportCatalogRequest{Revision: first.GetRevision()}); err != nil || !proto.Equal(old.GetContents(), first.GetContents()) {
		t.Errorf("the first revision: %v", err)
	}
	_, err = c.ExportCatalog(ctx, &bowrollv1.ExportCatalogRequest{Revision: "sha256:0000000000000000"})
	wantCode(t, err, codes.NotFound, "is not in the catalog")

	// Import back to the first revision, checked before, refused on another base.
	back := &bowrollv1.ImportCatalogRequest{Files: first.GetFiles(), Reason: "back", Actor: "custodian", RequestId: "import-back-1", ValidateOnly: true}
	would, err := c.ImportCatalog(ctx, back)
	if err != nil || len(would.GetChanges()) != 1 || would.GetChanges()[0].GetKind() != bowrollv1.DiffKind_DIFF_KIND_REMOVED || would.GetToRevision() != first.GetRevision() {
		t.Fatal(would, err)
	}
	back.ValidateOnly, back.BaseRevision = false, first.GetRevision()
	_, err = c.ImportCatalog(ctx, back)
	wantCode(t, err, codes.Aborted)
	back.BaseRevision, back.RequestId = would.GetFromRevision(), "import-back-2"
	if _, err := c.ImportCatalog(ctx, back); err != nil {
		t.Fatal(err)
	}
	revisions, err := c.ListCatalogRevisions(ctx, &bowrollv1.ListCatalogRevisionsRequest{})
	if err != nil || len(revisions.GetRevisions()) != 4 || revisions.GetRevisions()[0].GetRevision() != first.GetRevision() || !revisions.GetComplete() {
		t.Errorf("revisions: %v, %v", revisions, err)
	}
	broken := &bowrollv1.ImportCatalogRequest{Files: []*bowrollv1.CatalogFile{{Path: "a.yaml", Text: "sites:\n  - name: sites/Tern\n"}}, Reason: "x", Actor: "c", RequestId: "import-broken"}
	_, err = c.ImportCatalog(ctx, broken)
	wantCode(t, err, codes.InvalidArgument, "files[0].", "a.yaml:2")
}

func TestWhatIsInUseStays(t *testing.T) {
	ctx := t.Context()
	conn, stop := over(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	c := bowrollv1.NewCatalogClient(conn)
	booster, err := c.GetBoosterType(ctx, &bowrollv1.GetBoosterTypeRequest{Name: "boosterTypes/gaunt-12"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := bowrollv1.NewStockClient(conn).CreateLot(ctx, &bowrollv1.CreateLotRequest{
		Parent: "sites/varrow", LotId: "lot-07", Units: []string{"g-1"}, Place: "mag-1", Reason: "note", Actor: "k", RequestId: "create-lot-07",
		Lot: &bowrollv1.StockLot{Kind: bowrollv1.LotKind_LOT_KIND_BOOSTER, Type: booster.GetName(), ExpireTime: timestamppb.New(time.Date(2051, 1, 1, 0, 0, 0, 0, time.UTC))},
	}); err != nil {
		t.Fatal(err)
	}
	_, err = c.DeleteBoosterType(ctx, &bowrollv1.DeleteBoosterTypeRequest{Name: booster.GetName(), Etag: booster.GetEtag(), Reason: "old", Actor: "c", RequestId: "delete-gaunt"})
	wantCode(t, err, codes.FailedPrecondition, "lot lot-07 of varrow")
	site, err := c.GetSite(ctx, &bowrollv1.GetSiteRequest{Name: "sites/varrow"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = c.DeleteSite(ctx, &bowrollv1.DeleteSiteRequest{Name: site.GetName(), Etag: site.GetEtag(), Reason: "old", Actor: "c", RequestId: "delete-varrow"})
	wantCode(t, err, codes.FailedPrecondition, "decks")
	free, err := c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: "aircraftTypes/wendrake"})
	if err != nil {
		t.Fatal(err)
	}
	gone, err := c.DeleteAircraftType(ctx, &bowrollv1.DeleteAircraftTypeRequest{Name: free.GetName(), Etag: free.GetEtag(), Reason: "old", Actor: "c", RequestId: "delete-wendrake"})
	if err != nil || len(gone.GetChanges()) != 1 {
		t.Errorf("%v, %v", gone, err)
	}
	_, err = c.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: free.GetName()})
	wantCode(t, err, codes.NotFound)
}

func TestWithoutAStoreTheCatalogIsReadOnly(t *testing.T) {
	conn, stop, err := assembly.InProcess(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	defer conn.Close()
	c := bowrollv1.NewCatalogClient(conn)
	site, err := c.GetSite(t.Context(), &bowrollv1.GetSiteRequest{Name: "sites/varrow"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = c.DeleteSite(t.Context(), &bowrollv1.DeleteSiteRequest{Name: site.GetName(), Etag: site.GetEtag(), Reason: "old", Actor: "c", RequestId: "delete-varrow"})
	wantCode(t, err, codes.FailedPrecondition, "no store keeps it")
	if all, err := c.ExportCatalog(t.Context(), &bowrollv1.ExportCatalogRequest{}); err != nil || len(all.GetFiles()) == 0 {
		t.Error(all, err)
	}
}
