package assembly_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/assembly"
)

// sweeping starts the service over a store with a worker.
func sweeping(t testing.TB, address string) (*grpc.ClientConn, func()) {
	t.Helper()
	conn, stop, err := assembly.InProcessSweeping(address, time.Now, 2)(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return conn, func() { _ = conn.Close(); stop() }
}

func sweepCase() *bowrollv1.TakeoffCase {
	return &bowrollv1.TakeoffCase{
		AircraftType: "aircraftTypes/corvane", Flap: "takeoff", GrossMassKg: proto.Float64(6000),
		Air:  &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(15)},
		Deck: "sites/varrow/decks/main", Spot: "s6", HeadwindMps: proto.Float64(12),
		Boosters: &bowrollv1.Boosters{
			Count: proto.Int32(2), BoosterType: "boosterTypes/emberlin-6", GrainTemperatureC: proto.Float64(20),
			Firing: &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_ROLLING, DelayS: proto.Float64(1)},
		},
	}
}

func between(field string, first, last float64, count int32) *bowrollv1.SweepAxis {
	return &bowrollv1.SweepAxis{Field: field, Range: &bowrollv1.SweepRange{FirstValue: &first, LastValue: &last, Count: &count}}
}

func gridOf(axes ...*bowrollv1.SweepAxis) *bowrollv1.SweepSpec {
	return &bowrollv1.SweepSpec{Case: sweepCase(), Axes: axes, Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID}
}

var requests int

func createSweep(t testing.TB, conn *grpc.ClientConn, id string, spec *bowrollv1.SweepSpec) *bowrollv1.Sweep {
	t.Helper()
	requests++
	made, err := bowrollv1.NewSweepsClient(conn).CreateSweep(context.Background(), &bowrollv1.CreateSweepRequest{
		Parent: "sites/varrow", SweepId: id, Spec: spec, Actor: "analyst", RequestId: fmt.Sprintf("request-%d-%s", requests, id),
	})
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// ended waits until a sweep has ended.
func ended(t testing.TB, conn *grpc.ClientConn, id string) *bowrollv1.Sweep {
	t.Helper()
	for until := time.Now().Add(3 * time.Minute); time.Now().Before(until); time.Sleep(20 * time.Millisecond) {
		got, err := bowrollv1.NewSweepsClient(conn).GetSweep(context.Background(), &bowrollv1.GetSweepRequest{Name: "sites/varrow/sweeps/" + id})
		if err != nil {
			t.Fatal(err)
		}
		if got.GetState() > bowrollv1.SweepState_SWEEP_STATE_RUNNING {
			return got
		}
	}
	t.Fatalf("sweep %s does not end", id)
	return nil
}

// readSweep reads a sweep as a file.
func readSweep(t testing.TB, conn *grpc.ClientConn, request *bowrollv1.ReadSweepRequest) ([]byte, *bowrollv1.SweepFileSummary) {
	t.Helper()
	stream, err := bowrollv1.NewSweepsClient(conn).ReadSweep(context.Background(), request)
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	var summary *bowrollv1.SweepFileSummary
	for {
		piece, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return file.Bytes(), summary
		}
		if err != nil {
			t.Fatal(err)
		}
		file.Write(piece.GetContent())
		summary = piece.GetSummary()
	}
}

func ndjsonOf(id string) *bowrollv1.ReadSweepRequest {
	return &bowrollv1.ReadSweepRequest{Name: "sites/varrow/sweeps/" + id, Format: bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON}
}

// TestSweepRowsAreThoseOfTheCasesByThemselves holds every row against the table of
// the same take-offs: with quick inputs, with ones that are resolved anew, and
// with refused rows among them.
func TestSweepRowsAreThoseOfTheCasesByThemselves(t *testing.T) {
	conn, stop := sweeping(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	words := func(field string, list ...string) *bowrollv1.SweepAxis {
		return &bowrollv1.SweepAxis{Field: field, Words: list}
	}
	inAir := gridOf(between("air.temperature_c", -10, 40, 4), between("air.pressure_pa", 95000, 102000, 3), between("headwind_mps", -3, 20, 5), between("available_m", 40, 200, 3))
	best := gridOf(between("gross_mass_kg", 5000, 6600, 4), between("boosters.grain_temperature_c", 0, 35, 4))
	best.Case.Boosters.Firing = &bowrollv1.Firing{Mode: bowrollv1.FiringMode_FIRING_MODE_BEST}
	sample := gridOf(&bowrollv1.SweepAxis{Field: "headwind_mps", Distribution: &bowrollv1.SweepDistribution{
		Shape: bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL, LeastValue: proto.Float64(0), GreatestValue: proto.Float64(20), MiddleValue: proto.Float64(10), Sigma: proto.Float64(4)}},
		between("policy.run_factor", 1, 1.3, 4), words("spot", "s5", "s6"))
	sample.Method, sample.RowCount = bowrollv1.SweepMethod_SWEEP_METHOD_LATIN_HYPERCUBE, proto.Int32(200)
	for _, c := range []struct {
		id      string
		spec    *bowrollv1.SweepSpec
		refused bool
	}{
		{"quick", gridOf(between("headwind_mps", -5, 20, 6), between("gross_mass_kg", 4800, 6600, 5), between("boosters.firing.delay_s", 0, 5, 5)), false},
		{"in-air", inAir, false},
		{"best", best, false},
		{"resolved", gridOf(words("spot", "s5", "s6"), between("crosswind_mps", -10, 10, 5), between("headwind_mps", 0, 20, 5)), false},
		{"refused", gridOf(words("aircraft_type", "aircraftTypes/corvane", "aircraftTypes/halbrook"), between("gross_mass_kg", 4800, 6600, 7), between("headwind_mps", 0, 20, 5)), true},
		{"sample", sample, false},
	} {
		t.Run(c.id, func(t *testing.T) {
			createSweep(t, conn, c.id, c.spec)
			done := ended(t, conn, c.id)
			if done.GetState() != bowrollv1.SweepState_SWEEP_STATE_DONE || (done.GetRefusedCount() > 0) != c.refused {
				t.Fatalf("%v: %s, %d refused", done.GetState(), done.GetReason(), done.GetRefusedCount())
			}
			file, summary := readSweep(t, conn, ndjsonOf(c.id))
			lines := strings.Split(strings.TrimSuffix(string(file), "\n"), "\n")
			if len(lines) != int(done.GetRowCount())+1 || summary.GetRowCount() != done.GetRowCount() {
				t.Fatalf("%d lines, a summary of %d, %d rows", len(lines), summary.GetRowCount(), done.GetRowCount())
			}
			request := &bowrollv1.TakeoffsBatchComputeRequest{}
			var rows []map[string]any
			for _, line := range lines[:len(lines)-1] {
				var row map[string]any
				if err := json.Unmarshal([]byte(line), &row); err != nil {
					t.Fatal(err)
				}
				rows = append(rows, row)
				one := proto.CloneOf(c.spec.GetCase())
				for _, a := range c.spec.GetAxes() {
					setField(one, a.GetField(), row[strings.ReplaceAll(a.GetField(), ".", "_")])
				}
				request.Cases = append(request.Cases, one)
			}
			table, err := bowrollv1.NewTakeoffsClient(conn).Tabulate(context.Background(), request)
			if err != nil {
				t.Fatal(err)
			}
			for i, want := range table.GetRows() {
				compareRow(t, i, rows[i], want)
			}
		})
	}
}

// compareRow holds a row of a sweep against one of the table, to the last bit.
func compareRow(t *testing.T, i int, row map[string]any, want *bowrollv1.TakeoffRow) {
	t.Helper()
	if row["index"] != float64(i) || row["status"] != want.GetStatus() {
		t.Fatalf("row %d: %v, want %s %s", i, row, want.GetStatus(), want.GetFaults())
	}
	if want.GetStatus() != "OK" {
		if row["faults"] != strings.ReplaceAll(want.GetFaults(), fmt.Sprintf("cases[%d]", i), "case") || row["run_m"] != nil || row["goes"] != nil {
			t.Errorf("row %d: %v, want %s", i, row, want.GetFaults())
		}
		return
	}
	if row["outcome"] != want.GetOutcome() || row["goes"] != want.GetGoes() {
		t.Errorf("row %d: %v %v, want %s", i, row["outcome"], row["goes"], want.GetOutcome())
	}
	m := want.ProtoReflect()
	for _, name := range []string{
		"available_m", "density_kg_m3", "credited_headwind_mps", "crosswind_mps", "command_s", "liftoff_time_s", "roll_m", "run_m", "required_run_m", "margin_m",
		"liftoff_ground_speed_mps", "liftoff_airspeed_mps", "takeoff_distance_m", "gradient_with_boosters", "gradient_without_boosters",
	} {
		fd := m.Descriptor().Fields().ByName(protoName(name))
		var expected any
		if m.Has(fd) {
			expected = m.Get(fd).Float()
		}
		if got, there := row[name]; !there || got != expected {
			t.Errorf("row %d: %s is %v, want %v", i, name, got, expected)
		}
	}
}

// TestSweepFaultsAreNamedAtOnce sends a sweep with a fault of each kind.
func TestSweepFaultsAreNamedAtOnce(t *testing.T) {
	conn, stop := over(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	spec := gridOf(between("headwnd_mps", 0, 10, 3), between("temperature_c", 0, 10, 3), between("gross_mass_kg", 4000, 60000, 3), between("boosters.count", 1, 2, 4),
		&bowrollv1.SweepAxis{Field: "spot", Words: []string{"s99"}})
	spec.Seed, spec.Columns, spec.Case.Air.TemperatureC = proto.Int32(7), []string{"run_n"}, proto.Float64(400)
	_, err := bowrollv1.NewSweepsClient(conn).EstimateSweep(context.Background(), &bowrollv1.EstimateSweepRequest{Parent: "sites/varrow", Spec: spec})
	wantCode(t, err, codes.InvalidArgument)
	text := fmt.Sprint(violationsOf(err))
	for _, want := range []string{
		"spec.axes[0].field", "did you mean headwind_mps?", "spec.axes[1].field", "did you mean air.temperature_c?", "spec.axes[2]", "spec.axes[3].range",
		"spec.axes[4]", "spec.seed", "spec.columns[0]", "did you mean run_m?", "spec.case.air.temperature_c",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%s is not in %s", want, text)
		}
	}
}

// TestSweepIsEstimatedCancelledAndDeleted goes through a sweep's life without a
// worker.
func TestSweepIsEstimatedCancelledAndDeleted(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bowroll.db")
	conn, stop := over(t, path)
	c := bowrollv1.NewSweepsClient(conn)
	spec := gridOf(between("headwind_mps", 0, 20, 1000), between("gross_mass_kg", 4800, 6600, 1000))
	estimate, err := c.EstimateSweep(context.Background(), &bowrollv1.EstimateSweepRequest{Parent: "sites/varrow", Spec: spec})
	if err != nil || estimate.GetRowCount() != 1_000_000 || estimate.GetChunkCount() != 16 || estimate.GetCpuS() <= 0 || estimate.GetResultBytes() <= 0 || estimate.ElapsedS != nil {
		t.Fatal(estimate, err)
	}
	create := &bowrollv1.CreateSweepRequest{Parent: "sites/varrow", SweepId: "big", Spec: spec, Actor: "analyst", RequestId: "create-big", ValidateOnly: true}
	if _, err := c.CreateSweep(context.Background(), create); err != nil {
		t.Fatal(err)
	}
	list, err := c.ListSweeps(context.Background(), &bowrollv1.ListSweepsRequest{Parent: "sites/varrow"})
	if err != nil || len(list.GetSweeps()) != 0 {
		t.Fatalf("a check wrote something: %v, %v", list, err)
	}
	create.ValidateOnly = false
	made, err := c.CreateSweep(context.Background(), create)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := c.CreateSweep(context.Background(), create); err != nil || !proto.Equal(again, made) {
		t.Errorf("the same again: %v, %v", again, err)
	}
	create.RequestId = "create-other"
	_, err = c.CreateSweep(context.Background(), create)
	wantCode(t, err, codes.AlreadyExists)
	_, err = c.DeleteSweep(context.Background(), &bowrollv1.DeleteSweepRequest{Name: made.GetName(), Actor: "analyst", RequestId: "delete-early"})
	wantCode(t, err, codes.FailedPrecondition, "cancel it first")
	_, err = c.CancelSweep(context.Background(), &bowrollv1.CancelSweepRequest{Name: made.GetName(), Etag: "e9", Reason: "r", Actor: "analyst", RequestId: "cancel-late"})
	wantCode(t, err, codes.Aborted)
	cancelled, err := c.CancelSweep(context.Background(), &bowrollv1.CancelSweepRequest{Name: made.GetName(), Etag: made.GetEtag(), Reason: "not needed", Actor: "analyst", RequestId: "cancel-big"})
	if err != nil || cancelled.GetState() != bowrollv1.SweepState_SWEEP_STATE_CANCELLED || cancelled.GetReason() != "not needed" || cancelled.GetEtag() == made.GetEtag() {
		t.Fatal(cancelled, err)
	}
	stream, err := c.ReadSweep(context.Background(), ndjsonOf("big"))
	if err == nil {
		_, err = stream.Recv()
	}
	wantCode(t, err, codes.FailedPrecondition, "are not there")
	stop()
	conn, stop = sweeping(t, path) // its jobs are still queued, and compute nothing
	defer stop()
	c = bowrollv1.NewSweepsClient(conn)
	createSweep(t, conn, "small", gridOf(between("headwind_mps", 0, 20, 3)))
	ended(t, conn, "small")
	if got := ended(t, conn, "big"); got.GetChunkDoneCount() != 0 {
		t.Errorf("a cancelled sweep went on: %v", got)
	}
	folder := path + ".sweeps/varrow/small"
	if _, err := os.Stat(folder); err != nil {
		t.Error(err)
	}
	for _, id := range []string{"big", "small"} {
		if _, err := c.DeleteSweep(context.Background(), &bowrollv1.DeleteSweepRequest{Name: "sites/varrow/sweeps/" + id, Actor: "analyst", RequestId: "delete-" + id + "-x"}); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Stat(folder); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("its rows are still there: %v", err)
	}
}
