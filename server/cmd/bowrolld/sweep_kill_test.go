package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"path/filepath"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"

	"bowroll/testdata/longer"
)

var sweepFormats = []bowrollv1.SweepFormat{
	bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON, bowrollv1.SweepFormat_SWEEP_FORMAT_CSV, bowrollv1.SweepFormat_SWEEP_FORMAT_PARQUET,
}

// askedSweep is a sweep of a few parts and one more for each kill.
func askedSweep(kills int) *bowrollv1.CreateSweepRequest {
	axis := func(field string, first, last float64, count int) *bowrollv1.SweepAxis {
		n := int32(count)
		return &bowrollv1.SweepAxis{Field: field, Range: &bowrollv1.SweepRange{FirstValue: &first, LastValue: &last, Count: &n}}
	}
	return &bowrollv1.CreateSweepRequest{
		Parent: "sites/varrow", SweepId: "wind-and-mass", Actor: "analyst", RequestId: "create-sweep",
		Spec: &bowrollv1.SweepSpec{
			Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID, Columns: []string{"run_m", "margin_m", "command_s"},
			Axes: []*bowrollv1.SweepAxis{axis("gross_mass_kg", 4300, 5500, 100+75*kills), axis("headwind_mps", -5, 20, 700)},
			Case: &bowrollv1.TakeoffCase{
				AircraftType: "aircraftTypes/halbrook", Flap: "takeoff", Deck: "sites/varrow/decks/main", Spot: "s5",
				Air: &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(20)},
			},
		},
	}
}

// filesOf reads a sweep in every format, each held against the sum that came with
// it.
func filesOf(t *testing.T, conn *grpc.ClientConn, name string) (files [][]byte) {
	t.Helper()
	for _, format := range sweepFormats {
		stream, err := bowrollv1.NewSweepsClient(conn).ReadSweep(context.Background(), &bowrollv1.ReadSweepRequest{Name: name, Format: format})
		if err != nil {
			t.Fatal(err)
		}
		var file bytes.Buffer
		var summary *bowrollv1.SweepFileSummary
		for {
			piece, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			file.Write(piece.GetContent())
			summary = piece.GetSummary()
		}
		if sum := sha256.Sum256(file.Bytes()); hex.EncodeToString(sum[:]) != summary.GetSha256() {
			t.Fatalf("%v: the sum is not that of the file", format)
		}
		files = append(files, file.Bytes())
	}
	return files
}

// sweepThere reads a sweep once one of the ends holds for it.
func sweepThere(t *testing.T, conn *grpc.ClientConn, name string, end func(*bowrollv1.Sweep) bool) *bowrollv1.Sweep {
	t.Helper()
	var found *bowrollv1.Sweep
	for until := time.Now().Add(3 * time.Minute); time.Now().Before(until); time.Sleep(25 * time.Millisecond) {
		var err error
		if found, err = bowrollv1.NewSweepsClient(conn).GetSweep(context.Background(), &bowrollv1.GetSweepRequest{Name: name}); err != nil {
			t.Fatal(err)
		}
		if end(found) {
			return found
		}
	}
	t.Fatalf("the sweep does not get on: %v", found)
	return nil
}

func endedSweep(s *bowrollv1.Sweep) bool {
	return s.GetState() > bowrollv1.SweepState_SWEEP_STATE_RUNNING
}

// launchSweeping starts a bowrolld with two workers that gives the parts of a dead
// one away soon, and lets a part take ten seconds, which a busy machine needs.
func launchSweeping(t *testing.T, store, point string) *child {
	t.Helper()
	c, said := launchBowrolld(t, store, point, "--sweep-workers", "2", "--sweep-rescue", "15s")
	if c == nil && point == "" {
		t.Fatalf("bowrolld did not start: %s", said)
	}
	return c
}

// killSweep kills bowrolld in the middle of a sweep, again and again: from
// outside, and at named points of the store, which are where a part's results are
// kept and not counted yet, and where they are counted and the queue does not
// know. It returns the files of the sweep once it is done.
func killSweep(t *testing.T, store string, asked *bowrollv1.CreateSweepRequest, kills int) [][]byte {
	t.Helper()
	c := launchSweeping(t, store, "")
	made, err := bowrollv1.NewSweepsClient(c.conn).CreateSweep(context.Background(), asked)
	if err != nil {
		t.Fatal(err)
	}
	name, had := made.GetName(), int32(0)
	for n := range kills {
		if point := []string{"", "before commit:1", "begin:2", "after commit:1"}[n%4]; point != "" {
			c.kill()
			if c = launchSweeping(t, store, point); c != nil { // it dies by itself
				gone := make(chan struct{})
				go func() { _ = c.cmd.Wait(); close(gone) }()
				select {
				case <-gone:
				case <-time.After(time.Minute):
					t.Fatalf("kill %d: bowrolld did not come to %q", n, point)
				}
				c.conn.Close()
			}
			c = launchSweeping(t, store, "")
			continue
		}
		before := sweepThere(t, c.conn, name, func(s *bowrollv1.Sweep) bool { return s.GetChunkDoneCount() > had })
		c.kill()
		if endedSweep(before) {
			t.Fatalf("kill %d came after the end: %v", n, before)
		}
		c = launchSweeping(t, store, "")
		after, err := bowrollv1.NewSweepsClient(c.conn).GetSweep(context.Background(), &bowrollv1.GetSweepRequest{Name: name})
		if err != nil || after.GetChunkDoneCount() < before.GetChunkDoneCount() {
			t.Fatalf("kill %d: %d parts were done and %d are: %v", n, before.GetChunkDoneCount(), after.GetChunkDoneCount(), err)
		}
		had = after.GetChunkDoneCount()
	}
	done := sweepThere(t, c.conn, name, endedSweep)
	if done.GetState() != bowrollv1.SweepState_SWEEP_STATE_DONE || done.GetRowDoneCount() != done.GetRowCount() || done.GetChunkDoneCount() != done.GetChunkCount() {
		t.Fatalf("%v", done)
	}
	files := filesOf(t, c.conn, name)
	c.kill()
	t.Logf("%d kills, %d parts, %d rows", kills, done.GetChunkCount(), done.GetRowCount())
	return files
}

// TestKillInTheMiddleOfASweep holds the files of a sweep whose service was killed
// against those of one that nobody disturbed, byte for byte, and looks for every
// row, once, in order. BOWROLL_SWEEP_KILLS kills more often.
func TestKillInTheMiddleOfASweep(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills the program many times")
	}
	overFile := longer.Count(t, "BOWROLL_SWEEP_KILLS", 4)
	overPostgres := longer.Count(t, "BOWROLL_SWEEP_KILLS", 1) // a part of a dead service waits up to a minute there
	asked := askedSweep(max(overFile, overPostgres))
	want := killSweep(t, filepath.Join(t.TempDir(), "whole.db"), asked, 0)
	lines := bytes.Split(bytes.TrimSuffix(want[0], []byte("\n")), []byte("\n"))
	for i, line := range lines {
		var row struct {
			Type  string
			Index int
		}
		if err := json.Unmarshal(line, &row); err != nil || i < len(lines)-1 && (row.Type != "item" || row.Index != i) || i == len(lines)-1 && row.Type != "summary" {
			t.Fatalf("line %d: %s, %v", i, line, err)
		}
	}
	rows := 1
	for _, a := range asked.GetSpec().GetAxes() {
		rows *= int(a.GetRange().GetCount())
	}
	if len(lines) != rows+1 {
		t.Fatalf("%d lines for %d rows", len(lines), rows)
	}
	for _, over := range []struct {
		name  string
		store func(*testing.T) string
		kills int
	}{
		{"File", func(t *testing.T) string { return filepath.Join(t.TempDir(), "bowroll.db") }, overFile},
		{"Postgres", ownSchema, overPostgres},
	} {
		t.Run(over.name, func(t *testing.T) {
			for i, got := range killSweep(t, over.store(t), asked, over.kills) {
				if !bytes.Equal(got, want[i]) {
					t.Errorf("the %v of the sweep that was killed differs: %d bytes and %d", sweepFormats[i], len(got), len(want[i]))
				}
			}
		})
	}
}
