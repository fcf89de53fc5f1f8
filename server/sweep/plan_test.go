package sweep

import (
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Every combination of the values is one row's, and no other's.
func TestGridMeetsEveryCombinationOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &bowrollv1.SweepSpec{Method: bowrollv1.SweepMethod_SWEEP_METHOD_GRID}
		rows := 1
		for i, field := range []string{"headwind_mps", "gross_mass_kg", "air.temperature_c"}[:rapid.IntRange(1, 3).Draw(t, "axes")] {
			n := rapid.Int32Range(2, 9).Draw(t, fmt.Sprint("count", i))
			s.Axes = append(s.Axes, &bowrollv1.SweepAxis{Field: field, Range: &bowrollv1.SweepRange{
				FirstValue: proto.Float64(rapid.Float64Range(-5, 5).Draw(t, fmt.Sprint("first", i))), LastValue: proto.Float64(rapid.Float64Range(6, 90).Draw(t, fmt.Sprint("last", i))), Count: &n}})
			rows *= int(n)
		}
		p := NewPlan(s)
		if p.Rows != rows {
			t.Fatalf("%d rows, want %d", p.Rows, rows)
		}
		seen, inputs := map[string]bool{}, make([]float64, len(p.Axes))
		for row := range p.Rows {
			p.Inputs(row, inputs)
			for i, r := range s.GetAxes() {
				if inputs[i] < r.GetRange().GetFirstValue() || inputs[i] > r.GetRange().GetLastValue() {
					t.Fatalf("row %d: %v", row, inputs)
				}
			}
			seen[fmt.Sprint(inputs)] = true
		}
		if len(seen) != rows {
			t.Fatalf("%d combinations in %d rows", len(seen), rows)
		}
	})
}

// Each axis of a Latin hypercube meets each of its strata once.
func TestLatinHypercubeMeetsEveryStratumOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, seed := rapid.Int32Range(1, 500).Draw(t, "rows"), rapid.Int32Min(0).Draw(t, "seed")
		d := &bowrollv1.SweepDistribution{Shape: bowrollv1.SweepShape_SWEEP_SHAPE_UNIFORM, LeastValue: proto.Float64(0), GreatestValue: proto.Float64(1)}
		p := NewPlan(&bowrollv1.SweepSpec{
			Method: bowrollv1.SweepMethod_SWEEP_METHOD_LATIN_HYPERCUBE, RowCount: &n, Seed: &seed,
			Axes: []*bowrollv1.SweepAxis{{Field: "headwind_mps", Distribution: d}, {Field: "crosswind_mps", Distribution: d}},
		})
		seen, inputs := make([]map[int]bool, 2), make([]float64, 2)
		for row := range p.Rows {
			p.Inputs(row, inputs)
			for i, v := range inputs {
				if seen[i] == nil {
					seen[i] = map[int]bool{}
				}
				seen[i][min(int(v*float64(n)), int(n)-1)] = true
			}
		}
		// A draw at the very edge of a stratum may round into the next.
		if len(seen[0]) < int(n)-1 || len(seen[1]) < int(n)-1 {
			t.Fatalf("%d and %d strata of %d", len(seen[0]), len(seen[1]), n)
		}
	})
}
