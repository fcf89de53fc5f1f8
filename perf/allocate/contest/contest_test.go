package contest

import (
	"context"
	"testing"
)

// BenchmarkFigures prints the figures once: go test -bench . -benchtime 1x.
func BenchmarkFigures(b *testing.B) {
	for b.Loop() {
		figures, err := Run(context.Background(), Usual, b.TempDir())
		if err != nil {
			b.Fatal(err)
		}
		for _, f := range figures {
			b.Logf("%-32s %10.4g %-2s bar %g %s pass %v", f.Name, f.Value, f.Unit, f.Bar, f.Skipped, f.Passes())
		}
	}
}

// A small contest runs through and counts nothing wrong; its times are not judged.
func TestRunMeasures(t *testing.T) {
	figures, err := Run(context.Background(), Sizes{Small: 4, Raced: 1, Large: 1}, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range figures {
		if f.Name == "allocate values unlike cbc's" && f.Value != 0 {
			t.Errorf("%+v", f)
		}
		if f.Skipped == "" && f.Value < 0 {
			t.Errorf("%+v", f)
		}
	}
}
