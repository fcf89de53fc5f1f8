package rpc

import (
	"testing"

	"google.golang.org/protobuf/proto"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// The limiting sentence is that of the finding that settles the case.
func TestLimitingIsTheDecisiveFinding(t *testing.T) {
	for _, mass := range []float64{4400, 4700, 5000, 5300, 5600} {
		for _, run := range []float64{20, 90, 120, 150, 200} {
			c := sample()
			c.GrossMassKg, c.AvailableM = proto.Float64(mass), proto.Float64(run)
			out := compute(t, c)
			for _, f := range out.GetFindings() {
				if f.GetOutcome() != out.GetOutcome() {
					continue
				}
				if out.GetLimiting() != f.GetText() || f.GetText() == "" {
					t.Errorf("%.0f kg, %.0f m: limiting %q, finding %q", mass, run, out.GetLimiting(), f.GetText())
				}
				break
			}
			if out.GetOutcome() == bowrollv1.Outcome_OUTCOME_UNSPECIFIED || out.GetLimiting() == "" {
				t.Errorf("%.0f kg, %.0f m: nothing settles it", mass, run)
			}
		}
	}
}
