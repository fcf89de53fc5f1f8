package assembly_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

const (
	varrow  = "sites/varrow"
	corvane = "aircraftTypes/corvane"
)

// squadron makes runs of the built-in catalog's corvane as the service itself
// computes them, with engines that give but a part of their thrust.
type squadron struct {
	t      *testing.T
	conn   *grpc.ClientConn
	rng    *rand.Rand
	thrust float64
	made   int
}

// conditions are those of one launch.
func (s *squadron) conditions() *bowrollv1.TakeoffCase {
	c := &bowrollv1.TakeoffCase{
		AircraftType: corvane, Flap: "takeoff", GrossMassKg: proto.Float64(5600 + 700*s.rng.Float64()),
		Air:  &bowrollv1.Air{PressureAltitudeM: proto.Float64(0), TemperatureC: proto.Float64(8 + 16*s.rng.Float64())},
		Deck: varrow + "/decks/main", Spot: "s6", HeadwindMps: proto.Float64(10 + 8*s.rng.Float64()),
	}
	if s.made%3 > 0 {
		c.Boosters = &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(15),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(0.5 + s.rng.Float64())},
		}
	}
	return c
}

// run is what one launch did.
func (s *squadron) run() *bowrollv1.ObservedRun {
	s.t.Helper()
	c := s.conditions()
	truth := proto.CloneOf(c)
	kind, err := bowrollv1.NewCatalogClient(s.conn).GetAircraftType(s.t.Context(), &bowrollv1.GetAircraftTypeRequest{Name: corvane})
	if err != nil {
		s.t.Fatal(err)
	}
	kind.Correction = &bowrollv1.AircraftCorrection{Id: "truth", Source: "made for the test", ThrustFactor: &s.thrust}
	kind.Etag, kind.Provenance, kind.Name = "", nil, ""
	truth.AircraftType, truth.Aircraft = "", kind
	*truth.HeadwindMps += 0.3 * s.rng.NormFloat64()
	answer, err := bowrollv1.NewTakeoffsClient(s.conn).Compute(s.t.Context(), &bowrollv1.TakeoffsComputeRequest{Case: truth})
	if err != nil {
		s.t.Fatal(err)
	}
	s.made++
	run := &bowrollv1.ObservedRun{
		Conditions: c, Tail: fmt.Sprintf("c-%02d", s.made%4), LaunchTime: timestamppb.New(time.Date(2041, 3, 7, 5, s.made, 0, 0, time.UTC)),
		LiftoffDistanceM: proto.Float64(answer.GetRoll().GetDistanceM() + s.rng.NormFloat64()),
		LiftoffTimeS:     proto.Float64(answer.GetRoll().GetTimeS() + 0.1*s.rng.NormFloat64()),
		HeadwindSigmaMps: proto.Float64(0.3), TimeSigmaS: proto.Float64(0.1), Observer: "deck camera",
	}
	if c.Boosters != nil {
		run.Lot = "lot-07"
	}
	return run
}

func (s *squadron) record(id string, run *bowrollv1.ObservedRun) *bowrollv1.ObservedRun {
	s.t.Helper()
	made, err := bowrollv1.NewObservationsClient(s.conn).RecordRun(s.t.Context(), &bowrollv1.RecordRunRequest{
		Parent: varrow, ObservedRunId: id, ObservedRun: run, Actor: "analyst", RequestId: "record-" + id,
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return made
}

func TestObservedRunsTeachACorrection(t *testing.T) {
	ctx := t.Context()
	conn, stop := over(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	to := bowrollv1.NewObservationsClient(conn)
	s := &squadron{t: t, conn: conn, rng: rand.New(rand.NewPCG(1, 2)), thrust: 0.95}
	for i := range 60 {
		s.record(fmt.Sprintf("run-%02d", i), s.run())
	}

	// A record stays as it is; a correcting one takes its place.
	wrong := s.run()
	*wrong.LiftoffDistanceM *= 2
	made := s.record("run-60", wrong)
	again := &bowrollv1.RecordRunRequest{Parent: varrow, ObservedRunId: "run-60", ObservedRun: wrong, Actor: "analyst", RequestId: "record-run-60"}
	if same, err := to.RecordRun(ctx, again); err != nil || !proto.Equal(same, made) {
		t.Errorf("the same request again: %v, %v", same, err)
	}
	again.RequestId = "record-run-60-anew"
	_, err := to.RecordRun(ctx, again)
	wantCode(t, err, codes.AlreadyExists, "supersede")
	residuals := table(t, to, "")
	row := residuals.GetRows()[60]
	if row.GetFlag() != bowrollv1.RunFlag_RUN_FLAG_CONTRADICTION || row.GetReason() == "" {
		t.Errorf("a run of twice the distance is %v: %s", row.GetFlag(), row.GetReason())
	}
	corrected := proto.CloneOf(wrong)
	*corrected.LiftoffDistanceM /= 2
	corrected.Supersedes = made.GetName()
	supersede := &bowrollv1.RecordRunRequest{Parent: varrow, ObservedRunId: "run-60-a", ObservedRun: corrected, Actor: "analyst", RequestId: "supersede-60"}
	_, err = to.RecordRun(ctx, supersede)
	wantCode(t, err, codes.InvalidArgument, "etag")
	supersede.Etag = "e7"
	_, err = to.RecordRun(ctx, supersede)
	wantCode(t, err, codes.Aborted)
	supersede.Etag = made.GetEtag()
	if _, err = to.RecordRun(ctx, supersede); err != nil {
		t.Fatal(err)
	}
	if old, err := to.GetObservedRun(ctx, &bowrollv1.GetObservedRunRequest{Name: made.GetName()}); err != nil || old.GetSupersededBy() != varrow+"/observedRuns/run-60-a" {
		t.Errorf("the old record: %v, %v", old, err)
	}

	// Every fault at once.
	bad := proto.CloneOf(corrected)
	bad.Supersedes = ""
	bad.Conditions.Boosters = &bowrollv1.Boosters{
		Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(15),
		Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST},
	}
	bad.Conditions.Deck = "sites/skarn-field/decks/strip"
	bad.Conditions.Policy = &bowrollv1.Policy{RunFactor: proto.Float64(1)}
	_, err = to.RecordRun(ctx, &bowrollv1.RecordRunRequest{Parent: varrow, ObservedRunId: "bad", ObservedRun: bad, Actor: "analyst", RequestId: "record-bad"})
	wantCode(t, err, codes.InvalidArgument, "observed_run.conditions.deck", "and 3 more")

	// The fit finds the thrust, and says how good it is on runs it did not see.
	fit, err := to.FitCorrection(ctx, &bowrollv1.FitCorrectionRequest{Parent: varrow, AircraftType: corvane})
	if err != nil {
		t.Fatal(err)
	}
	thrust := fit.GetEstimates()[0]
	t.Logf("thrust %.4f, %.4f to %.4f; distance rms %.2f m, fitted %.2f, held out %.2f; %q", thrust.GetValue(), thrust.GetLow(), thrust.GetHigh(),
		fit.GetUncorrectedError().GetDistanceRmsM(), fit.GetFittedError().GetDistanceRmsM(), fit.GetHeldOutError().GetDistanceRmsM(), fit.GetCautions())
	if thrust.GetLow() > 0.95 || thrust.GetHigh() < 0.95 || thrust.GetHigh() > 1 {
		t.Errorf("thrust %v, it is 0.95", thrust)
	}
	if !(fit.GetHeldOutError().GetDistanceRmsM() < fit.GetUncorrectedError().GetDistanceRmsM()) {
		t.Errorf("held out %v, uncorrected %v", fit.GetHeldOutError(), fit.GetUncorrectedError())
	}
	if !residuals.GetDrifts()[0].GetAlarm() {
		t.Error("no alarm, with a twentieth of the thrust gone")
	}

	// A proposal changes nothing; a plan made before pins what it was made with.
	propose := &bowrollv1.ProposeCorrectionRequest{
		Parent: varrow, CorrectionId: "corvane-spring", AircraftType: corvane, Reason: "engines give less", Actor: "analyst", RequestId: "propose-1",
	}
	proposed, err := to.ProposeCorrection(ctx, propose)
	if err != nil {
		t.Fatal(err)
	}
	c := s.conditions()
	before := compute(t, conn, c)
	accept := &bowrollv1.DecideCorrectionRequest{Name: proposed.GetName(), Etag: proposed.GetEtag(), Reason: "board of 7 March", Actor: "custodian", RequestId: "accept-1"}
	accepted, err := to.AcceptCorrection(ctx, accept)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := to.AcceptCorrection(ctx, accept); err != nil || !proto.Equal(again, accepted) {
		t.Errorf("accepted again: %v, %v", again, err)
	}
	held, err := bowrollv1.NewCatalogClient(conn).GetAircraftType(ctx, &bowrollv1.GetAircraftTypeRequest{Name: corvane})
	if err != nil || held.GetCorrection().GetId() != "corvane-spring" || math.Abs(held.GetCorrection().GetThrustFactor()-thrust.GetValue()) > 1e-12 {
		t.Fatalf("the catalog holds %v: %v", held.GetCorrection(), err)
	}
	after := compute(t, conn, c)
	if !(after.GetRoll().GetDistanceM() > before.GetRoll().GetDistanceM()+1) || after.GetProvenance().GetCatalogRevision() == before.GetProvenance().GetCatalogRevision() {
		t.Errorf("the roll is %.2f m, it was %.2f m", after.GetRoll().GetDistanceM(), before.GetRoll().GetDistanceM())
	}
	// With the old revision the residuals are what they were.
	old, now := table(t, to, fit.GetProvenance().GetCatalogRevision()), table(t, to, "")
	if !proto.Equal(old.GetRows()[3], residuals.GetRows()[3]) {
		t.Errorf("under the old revision %v, it was %v", old.GetRows()[3], residuals.GetRows()[3])
	}
	if now.GetDrifts()[0].GetAlarm() {
		t.Errorf("with the correction: %v", now.GetDrifts()[0])
	}

	// One fitted against a catalog that has moved is refused; the first is taken
	// out by another revision.
	propose.CorrectionId, propose.RequestId = "corvane-late", "propose-2"
	late, err := to.ProposeCorrection(ctx, propose)
	if err != nil {
		t.Fatal(err)
	}
	reverted, err := to.RevertCorrection(ctx, &bowrollv1.DecideCorrectionRequest{Name: accepted.GetName(), Etag: accepted.GetEtag(), Reason: "wrong lot of fuel", Actor: "custodian", RequestId: "revert-1"})
	if err != nil {
		t.Fatal(err)
	}
	_, err = to.AcceptCorrection(ctx, &bowrollv1.DecideCorrectionRequest{Name: late.GetName(), Etag: late.GetEtag(), Reason: "r", Actor: "custodian", RequestId: "accept-2"})
	wantCode(t, err, codes.Aborted, "fit and propose it anew")
	_, err = to.AcceptCorrection(ctx, &bowrollv1.DecideCorrectionRequest{Name: accepted.GetName(), Etag: accepted.GetEtag(), Reason: "r", Actor: "custodian", RequestId: "accept-3"})
	wantCode(t, err, codes.Aborted, "read it again")
	if back := compute(t, conn, c); !proto.Equal(back, before) {
		t.Errorf("after it was taken out the roll is %v, it was %v", back.GetRoll(), before.GetRoll())
	}
	if n := len(reverted.GetDecisions()); n != 2 || reverted.GetState() != bowrollv1.CorrectionState_CORRECTION_STATE_REVERTED {
		t.Errorf("%v", reverted)
	}
}

func table(t *testing.T, to bowrollv1.ObservationsClient, revision string) *bowrollv1.TabulateResidualsResponse {
	t.Helper()
	answer, err := to.TabulateResiduals(t.Context(), &bowrollv1.TabulateResidualsRequest{Parent: varrow, CatalogRevision: revision})
	if err != nil {
		t.Fatal(err)
	}
	return answer
}

func compute(t *testing.T, conn *grpc.ClientConn, c *bowrollv1.TakeoffCase) *bowrollv1.Takeoff {
	t.Helper()
	answer, err := bowrollv1.NewTakeoffsClient(conn).Compute(context.WithoutCancel(t.Context()), &bowrollv1.TakeoffsComputeRequest{Case: c})
	if err != nil {
		t.Fatal(err)
	}
	return answer
}
