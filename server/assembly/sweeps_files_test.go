package assembly_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"google.golang.org/grpc"
	"pgregory.net/rapid"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/assembly"
	"bowroll/server/refusal"
	"bowroll/server/rpc"
	"bowroll/server/sweep"
)

// mixed is a sweep with text, whole numbers, rows that never lift off and rows
// that are refused.
func mixed() *bowrollv1.SweepSpec {
	return gridOf(&bowrollv1.SweepAxis{Field: "aircraft_type", Words: []string{"aircraftTypes/corvane", "aircraftTypes/halbrook"}},
		&bowrollv1.SweepAxis{Field: "boosters.count", Values: []float64{2}}, between("gross_mass_kg", 4800, 6600, 7), between("headwind_mps", -5, 20, 5))
}

// TestSweepFilesHoldTheSameRows reads CSV and Parquet back and holds them to the
// rows of NDJSON, nulls included.
func TestSweepFilesHoldTheSameRows(t *testing.T) {
	conn, stop := sweeping(t, filepath.Join(t.TempDir(), "bowroll.db"))
	defer stop()
	createSweep(t, conn, "mixed", mixed())
	done := ended(t, conn, "mixed")
	if done.GetRefusedCount() == 0 || done.GetRefusedCount() == done.GetRowCount() {
		t.Fatalf("%d of %d rows are refused", done.GetRefusedCount(), done.GetRowCount())
	}
	for _, c := range done.GetColumns() {
		last := map[string]string{"m": "_m", "m/s": "_mps", "s": "_s", "kg": "_kg", "kg/m3": "_kg_m3", "degC": "_c", "Pa": "_pa"}[c.GetUnit()]
		if c.GetUnit() != "" && (last == "" || !strings.HasSuffix(c.GetName(), last)) {
			t.Errorf("column %s does not end in its unit, %s", c.GetName(), c.GetUnit())
		}
	}
	read := func(format bowrollv1.SweepFormat) []byte {
		request := ndjsonOf("mixed")
		request.Format = format
		file, _ := readSweep(t, conn, request)
		return file
	}
	rows, nulls := itemsOf(t, read(bowrollv1.SweepFormat_SWEEP_FORMAT_NDJSON)), 0
	for i, row := range rows {
		for _, c := range done.GetColumns() {
			value, there := row[c.GetName()]
			if !there || value == nil && !c.GetNullable() {
				t.Fatalf("row %d: %s is %v, there %v", i, c.GetName(), value, there)
			}
			if value == nil {
				nulls++
			}
		}
	}
	if len(rows) != int(done.GetRowCount()) || nulls == 0 {
		t.Fatalf("%d rows with %d nulls", len(rows), nulls)
	}
	compareCSV(t, done.GetColumns(), rows, read(bowrollv1.SweepFormat_SWEEP_FORMAT_CSV))
	compareParquet(t, done, rows, read(bowrollv1.SweepFormat_SWEEP_FORMAT_PARQUET))
}

// itemsOf are the rows of an NDJSON file.
func itemsOf(t *testing.T, file []byte) (rows []map[string]any) {
	t.Helper()
	for _, line := range bytes.Split(bytes.TrimSuffix(file, []byte("\n")), []byte("\n")) {
		var row map[string]any
		if err := json.Unmarshal(line, &row); err != nil {
			t.Fatal(err)
		}
		if row["type"] == "item" {
			rows = append(rows, row)
		}
	}
	return rows
}

func compareCSV(t *testing.T, columns []*bowrollv1.SweepColumn, rows []map[string]any, file []byte) {
	t.Helper()
	records, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
	if err != nil || len(records) != len(rows)+1 || len(records[0]) != len(columns) {
		t.Fatalf("%d records: %v", len(records), err)
	}
	for i, c := range columns {
		if records[0][i] != c.GetName() {
			t.Errorf("column %d is %s, want %s", i, records[0][i], c.GetName())
		}
		for r, row := range rows {
			text := records[r+1][i]
			var got any = text
			switch {
			case text == "":
				got = nil
			case c.GetKind() == "flag":
				got = text == "true"
			case c.GetKind() != "text":
				if got, err = strconv.ParseFloat(text, 64); err != nil {
					t.Fatal(err)
				}
			}
			if got != row[c.GetName()] {
				t.Errorf("row %d: %s is %v, want %v", r, c.GetName(), got, row[c.GetName()])
			}
		}
	}
}

func compareParquet(t *testing.T, done *bowrollv1.Sweep, rows []map[string]any, file []byte) {
	t.Helper()
	opened, err := parquet.OpenFile(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		t.Fatal(err)
	}
	if digest, _ := opened.Lookup("bowroll.request_digest"); digest != done.GetPinned().GetRequestDigest() || digest == "" {
		t.Errorf("it says that %q was asked, want %q", digest, done.GetPinned().GetRequestDigest())
	}
	reader := parquet.NewReader(opened)
	defer reader.Close()
	at, buffer := 0, make([]parquet.Row, 16)
	for {
		n, err := reader.ReadRows(buffer)
		for _, row := range buffer[:n] {
			if len(row) != len(done.GetColumns()) {
				t.Fatalf("row %d has %d values", at, len(row))
			}
			for i, c := range done.GetColumns() {
				if name := opened.Schema().Columns()[i][0]; name != c.GetName() {
					t.Fatalf("column %d is %s, want %s", i, name, c.GetName())
				}
				var got any
				switch v := row[i]; {
				case v.IsNull():
				case c.GetKind() == "text":
					got = string(v.ByteArray())
				case c.GetKind() == "flag":
					got = v.Boolean()
				case c.GetKind() == "count":
					got = float64(v.Int32())
				default:
					got = v.Double()
				}
				if want := rows[at][c.GetName()]; got != want {
					t.Errorf("row %d: %s is %v, want %v", at, c.GetName(), got, want)
				}
			}
			at++
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if at != len(rows) {
		t.Errorf("%d rows, want %d", at, len(rows))
	}
}

// TestRowsDoNotDependOnThoseBefore computes stretches of sweeps, each with a
// kernel that has computed nothing yet, against one that computed all before.
func TestRowsDoNotDependOnThoseBefore(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bowroll.db")
	conn, stop := over(t, path) // fills the catalog
	revision := revisionOf(t, conn)
	stop()
	kept, err := assembly.OpenStore(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	screen, err := refusal.NewScreen()
	if err != nil {
		t.Fatal(err)
	}
	computer := rpc.NewSweepRows(kept, screen.Validator())
	inAir := gridOf(between("air.temperature_c", -10, 40, 4), between("headwind_mps", -3, 20, 5), between("available_m", 40, 200, 3), between("gross_mass_kg", 4800, 6600, 3))
	for _, spec := range []*bowrollv1.SweepSpec{mixed(), inAir} {
		plan := sweep.NewPlan(spec)
		prepare := func() sweep.Kernel {
			kernel, err := computer.Prepare(context.Background(), spec, plan, revision)
			if err != nil {
				t.Fatal(err)
			}
			return kernel
		}
		inputs := make([]float64, len(plan.Axes))
		compute := func(k sweep.Kernel, first, count int) (texts []string) {
			var row sweep.Row
			for i := first; i < min(first+count, plan.Rows); i++ {
				plan.Inputs(i, inputs)
				if err := k.Row(inputs, &row); err != nil {
					t.Fatal(err)
				}
				text := row.Fault + " " + strconv.Itoa(int(row.Outcome)) + strconv.FormatBool(row.Goes)
				if row.Fault == "" {
					for _, v := range row.Numbers {
						text += " " + strconv.FormatFloat(v, 'g', -1, 64)
					}
				}
				texts = append(texts, text)
			}
			return texts
		}
		all := compute(prepare(), 0, plan.Rows)
		rapid.Check(t, func(t *rapid.T) {
			first, count := rapid.IntRange(0, plan.Rows-1).Draw(t, "first"), rapid.IntRange(1, 20).Draw(t, "count")
			for i, got := range compute(prepare(), first, count) {
				if got != all[first+i] {
					t.Fatalf("row %d is %s, and %s after those before", first+i, got, all[first+i])
				}
			}
		})
	}
}

func revisionOf(t *testing.T, conn *grpc.ClientConn) string {
	t.Helper()
	answer, err := bowrollv1.NewCatalogClient(conn).ExportCatalog(context.Background(), &bowrollv1.ExportCatalogRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetRevision()
}
