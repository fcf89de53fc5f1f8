package assembly_test

import (
	"os"
	"path/filepath"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"bowroll/client/cycle"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// A kept plan is computed anew with the catalog that it pins, to the same digest,
// whatever the catalog has become; with the new one it comes out otherwise.
func TestKeptPlansAreReproduced(t *testing.T) {
	ctx := t.Context()
	conn, stop := over(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	source, err := os.ReadFile("../../testdata/cycles/dawn.yaml")
	if err != nil {
		t.Fatal(err)
	}
	asked, _, err := cycle.Read("dawn.yaml", source)
	if err != nil {
		t.Fatal(err)
	}
	answer, err := bowrollv1.NewCyclesClient(conn).Plan(ctx, &bowrollv1.CyclesPlanRequest{Cycle: asked})
	if err != nil {
		t.Fatal(err)
	}
	plans := bowrollv1.NewPlansClient(conn)
	kept, err := plans.CreatePlan(ctx, &bowrollv1.CreatePlanRequest{Parent: varrow, PlanId: "dawn", Cycle: asked, Answer: answer, Actor: "quill", RequestId: "create-dawn"})
	if err != nil {
		t.Fatal(err)
	}
	anew := func(version, revision string) (*bowrollv1.RecomputePlanResponse, error) {
		return plans.RecomputePlan(ctx, &bowrollv1.RecomputePlanRequest{Name: kept.GetName(), ModelVersion: version, CatalogRevision: revision})
	}
	before, err := anew("", "")
	if err != nil || !before.GetSame() || before.GetKeptDigest() != before.GetComputedDigest() {
		t.Fatalf("at once: same %v, %v, %v", before.GetSame(), before.GetDifferences(), err)
	}

	// Every type loses some of its thrust.
	catalog := bowrollv1.NewCatalogClient(conn)
	for _, name := range []string{"aircraftTypes/corvane", "aircraftTypes/halbrook"} {
		kind, err := catalog.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: name})
		if err != nil {
			t.Fatal(err)
		}
		kind.Correction = &bowrollv1.AircraftCorrection{Id: "worn", Source: "made for the test", ThrustFactor: proto.Float64(0.9)}
		if _, err := catalog.UpdateAircraftType(ctx, &bowrollv1.UpdateAircraftTypeRequest{
			Name: name, AircraftType: kind, Etag: kind.GetEtag(), Reason: "r", Actor: "custodian", RequestId: "update-" + name[14:],
		}); err != nil {
			t.Fatal(err)
		}
	}
	after, err := anew("1.0.0", "")
	if err != nil || !after.GetSame() || after.GetComputedDigest() != before.GetComputedDigest() ||
		after.GetProvenance().GetCatalogRevision() != kept.GetPinned().GetCatalogRevision() ||
		after.GetProvenance().GetRequestDigest() != kept.GetPinned().GetRequestDigest() {
		t.Errorf("after the catalog changed: same %v, %v, %v", after.GetSame(), after.GetDifferences(), err)
	}
	info, err := bowrollv1.NewModelClient(conn).GetModel(ctx, &bowrollv1.GetModelRequest{})
	if err != nil {
		t.Fatal(err)
	}
	now, err := anew("", info.GetProvenance().GetCatalogRevision())
	if err != nil || now.GetSame() || len(now.GetDifferences()) == 0 {
		t.Errorf("with the catalog as it is now: same %v, %v, %v", now.GetSame(), now.GetDifferences(), err)
	}
	_, err = anew("0.9.0", "")
	wantCode(t, err, codes.NotFound, "1.0.0")
	_, err = anew("", "sha256:0000000000000000")
	wantCode(t, err, codes.NotFound, kept.GetPinned().GetCatalogRevision())
	if info.GetDigest() == "" || !info.GetVersions()[0].GetComputes() || len(info.GetDispersions()) < 13 {
		t.Errorf("the model says little of itself: %v", info)
	}
	for _, d := range info.GetDispersions() {
		if d.GetSource() == "" {
			t.Errorf("%s of %s has no source", d.GetQuantity(), d.GetScope())
		}
	}
	cases, err := bowrollv1.NewModelClient(conn).CheckVectors(ctx, &bowrollv1.ModelCheckVectorsRequest{})
	if err != nil || !cases.GetHolds() || cases.GetCaseCount() < 50 {
		t.Errorf("the reference cases that come with it: %d, holds %v: %v", cases.GetCaseCount(), cases.GetHolds(), err)
	}
}

// A batch is computed with the revision of the catalog that it names, to the byte
// as it was when that one was in force.
func TestBatchesOfEarlierRevisions(t *testing.T) {
	ctx := t.Context()
	conn, stop := over(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	takeoffs, catalog := bowrollv1.NewTakeoffsClient(conn), bowrollv1.NewCatalogClient(conn)
	batch := func(revision string) (*bowrollv1.TakeoffsBatchComputeResponse, error) {
		return takeoffs.BatchCompute(ctx, &bowrollv1.TakeoffsBatchComputeRequest{CatalogRevision: revision, Cases: []*bowrollv1.TakeoffCase{{
			AircraftType: "aircraftTypes/corvane", Flap: "takeoff", GrossMassKg: proto.Float64(5000),
			Air:         &bowrollv1.Air{PressureAltitudeM: proto.Float64(0), TemperatureC: proto.Float64(15)},
			HeadwindMps: proto.Float64(15), Deck: "sites/varrow/decks/main", Spot: "s6",
		}}})
	}
	first, err := batch("")
	if err != nil || first.GetItems()[0].GetTakeoff() == nil {
		t.Fatal(first, err)
	}
	kind, err := catalog.GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: "aircraftTypes/corvane"})
	if err != nil {
		t.Fatal(err)
	}
	kind.Correction = &bowrollv1.AircraftCorrection{Id: "worn", Source: "made for the test", ThrustFactor: proto.Float64(0.9)}
	if _, err := catalog.UpdateAircraftType(ctx, &bowrollv1.UpdateAircraftTypeRequest{
		Name: kind.GetName(), AircraftType: kind, Etag: kind.GetEtag(), Reason: "r", Actor: "custodian", RequestId: "update-corvane",
	}); err != nil {
		t.Fatal(err)
	}
	now, err := batch("")
	if err != nil || proto.Equal(now.GetItems()[0], first.GetItems()[0]) {
		t.Fatalf("the new catalog changes nothing: %v", err)
	}
	then := first.GetProvenance().GetCatalogRevision()
	again, err := batch(then)
	if err != nil || !proto.Equal(again.GetItems()[0], first.GetItems()[0]) || again.GetProvenance().GetCatalogRevision() != then {
		t.Errorf("with the earlier catalog: %v, %v", again, err)
	}
	_, err = batch("sha256:0000000000000000")
	wantCode(t, err, codes.NotFound, then)
}
