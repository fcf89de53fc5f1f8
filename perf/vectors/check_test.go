package vectors_test

import (
	"os"
	"testing"

	"bowroll/perf/vectors"
)

// The vectors were computed from the model's equations by an independent
// implementation on SciPy (solve_ivp, DOP853, relative tolerance 1e-11): a
// general-purpose reference library, no published source.
func TestReferenceVectors(t *testing.T) {
	file, err := os.Open("../../testdata/vectors/takeoff.json")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	list, err := vectors.Read(file)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 60 {
		t.Fatalf("%d vectors, want 60", len(list))
	}
	all, err := vectors.Check(list)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range all {
		if !d.Within() {
			t.Errorf("%s %s: expected %.12g, computed %.12g, off by %.3g (allowed %.0e)",
				d.ID, d.Quantity, d.Expected, d.Computed, d.Relative, d.Allowed)
		}
	}
	for _, d := range vectors.Largest(all) {
		t.Logf("%-32s %.3g in %s", d.Quantity, d.Relative, d.ID)
	}
}
