package sheet_test

import (
	"bytes"
	"io"
	"testing"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"bowroll/client/sheet"
	"bowroll/perf/quantity"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// sweepShown is a sweep on its way, with every kind of axis.
func sweepShown() *bowrollv1.Sweep {
	at := timestamppb.New(time.Date(2041, 3, 7, 5, 30, 0, 0, time.UTC))
	return &bowrollv1.Sweep{
		Name: "sites/varrow/sweeps/winter", DisplayName: "what a winter may bring", State: bowrollv1.SweepState_SWEEP_STATE_RUNNING,
		RowCount: 100_000_000, ChunkRowCount: 65_536, ChunkCount: 1526, ChunkDoneCount: 610, RowDoneCount: 39_976_960,
		RefusedCount: 1210, GoesCount: 31_204_511, ResultBytes: 3.2e9, CpuS: 1480, LeftS: proto.Float64(2222), CreateTime: at, StartTime: at, Etag: "e2",
		Pinned: &bowrollv1.Provenance{ModelVersion: "1.0.0", CatalogRevision: "sha256:1f54c599093643de", RequestDigest: "sha256:528594ed1d04c6d3bacc09c29a7f6260"},
		Spec: &bowrollv1.SweepSpec{
			Method: bowrollv1.SweepMethod_SWEEP_METHOD_LATIN_HYPERCUBE, RowCount: proto.Int32(100_000_000), Seed: proto.Int32(7),
			Axes: []*bowrollv1.SweepAxis{
				{Field: "gross_mass_kg", Range: &bowrollv1.SweepRange{FirstValue: proto.Float64(5400), LastValue: proto.Float64(6400), Count: proto.Int32(11)}},
				{Field: "air.temperature_c", Values: []float64{-15, -10, -5, 0, 5, 10, 12.5, 15, 20}},
				{Field: "spot", Words: []string{"s5", "s6"}},
				{Field: "boosters.grain_temperature_c", Distribution: &bowrollv1.SweepDistribution{Shape: bowrollv1.SweepShape_SWEEP_SHAPE_NORMAL,
					LeastValue: proto.Float64(-20), GreatestValue: proto.Float64(20), MiddleValue: proto.Float64(2), Sigma: proto.Float64(6)}},
			},
		},
	}
}

// TestSweepSheets holds the sheets of sweeps against the texts that were looked at.
// UPDATE_GOLDEN=1 writes them anew.
func TestSweepSheets(t *testing.T) {
	running := sweepShown()
	done := &bowrollv1.Sweep{Name: "sites/varrow/sweeps/winds", State: bowrollv1.SweepState_SWEEP_STATE_DONE, RowCount: 2684, RowDoneCount: 2684, GoesCount: 2320, CreateTime: running.GetCreateTime()}
	ended := &bowrollv1.Sweep{Name: "sites/varrow/sweeps/day", DisplayName: "what the day may bring", State: bowrollv1.SweepState_SWEEP_STATE_CANCELLED, Reason: "asked twice", RowCount: 3000, CreateTime: running.GetCreateTime(), Etag: "e2", Pinned: running.GetPinned()}
	list := []*bowrollv1.Sweep{ended, done, running}
	for name, draw := range map[string]func(io.Writer, sheet.Style) error{
		"sweeps":    func(w io.Writer, s sheet.Style) error { return sheet.Sweeps(w, s, "sites/varrow", list) },
		"sweep":     func(w io.Writer, s sheet.Style) error { return sheet.Sweep(w, s, running) },
		"sweep-end": func(w io.Writer, s sheet.Style) error { return sheet.Sweep(w, s, ended) },
		"sweep-estimate": func(w io.Writer, s sheet.Style) error {
			return sheet.SweepEstimate(w, s, &bowrollv1.SweepEstimate{
				RowCount: 100_000_000, ChunkCount: 1526, ChunkRowCount: 65_536, CpuS: 3700, ElapsedS: proto.Float64(930), ResultBytes: 8.1e9,
				ProbeRowCount: 2560, ProbeRefusedCount: 31, ProbeFault: "gross_mass_kg 6800: above the type's limit", WaitingChunkCount: 12,
				Columns: make([]*bowrollv1.SweepColumn, 23),
			})
		},
		"sweep-file": func(w io.Writer, s sheet.Style) error {
			return sheet.SweepFile(w, s, "winter.parquet", &bowrollv1.SweepFileSummary{RowCount: 100_000_000, RefusedCount: 1210, GoesCount: 78_204_511,
				Sha256: "6a548e9b42b106885816ccaa35f1334c90b28ee9155b4b74232faefd72da2858", Pinned: running.GetPinned()})
		},
	} {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			if err := draw(&out, sheet.Style{Width: 80, Units: quantity.Trade}); err != nil {
				t.Fatal(err)
			}
			for line := range bytes.Lines(out.Bytes()) {
				if n := utf8.RuneCount(bytes.TrimSuffix(line, []byte("\n"))); n > 80 {
					t.Errorf("%d columns: %s", n, line)
				}
			}
			golden(t, name, out.String())
		})
	}
	if got, want := sheet.SweepProgress(running), "39.9 % of 100,000,000 rows, 37 min left"; got != want {
		t.Errorf("progress is %q, want %q", got, want)
	}
}
