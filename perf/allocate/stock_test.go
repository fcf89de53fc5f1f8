package allocate_test

import (
	"context"
	"testing"

	"bowroll/perf/allocate"
)

// No plan draws more than a lot may give, gives a sortie two fits or breaks a
// crew window, on ten thousand random cycles.
func TestPlansKeepToStockAndCrews(t *testing.T) {
	count := uint64(10000)
	if testing.Short() {
		count = 500
	}
	for seed := range count {
		p := allocate.Generate(seed, 2+int(seed%7), 1+int(seed%4), allocate.Tightnesses[seed%4])
		r, err := allocate.Solve(context.Background(), p, allocate.Options{})
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if broken := allocate.Check(p, r.Choices); len(broken) > 0 {
			t.Errorf("seed %d: %v", seed, broken)
		}
		for i, used := range r.LotUse(p) {
			if lot := p.Lots[i]; used > max(0, lot.Available-lot.Reserve) {
				t.Errorf("seed %d: %d units drawn from %s, which may give %d", seed, used, lot.ID, lot.Available-lot.Reserve)
			}
		}
	}
}
