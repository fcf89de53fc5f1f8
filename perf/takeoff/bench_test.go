package takeoff_test

import (
	"os"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	"bowroll/perf/vectors"
)

// twoUnits is the first reference vector with two units and a rolling firing.
func twoUnits(tb testing.TB) (takeoff.Setting, takeoff.Firing) {
	tb.Helper()
	file, err := os.Open("../../testdata/vectors/takeoff.json")
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	list, err := vectors.Read(file)
	if err != nil {
		tb.Fatal(err)
	}
	for i := range list {
		if b := list[i].Case.Boosters; b != nil && b.Count == 2 && b.Firing.Mode == "rolling" {
			setting, firing, err := list[i].Case.Setting()
			if err != nil {
				tb.Fatal(err)
			}
			return setting, firing
		}
	}
	tb.Fatal("no vector with two units")
	panic("unreachable")
}

func BenchmarkRoll(b *testing.B) {
	setting, firing := twoUnits(b)
	runner, err := takeoff.NewRunner(setting)
	if err != nil {
		b.Fatal(err)
	}
	var schedule booster.Schedule
	firing.Schedule(&schedule, setting.Units)
	b.Run("roll", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			runner.Roll(&schedule)
		}
	})
	b.Run("schedule", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			firing.Schedule(&schedule, setting.Units)
		}
	})
	b.Run("reset", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := runner.Reset(setting); err != nil {
				b.Fatal(err)
			}
		}
	})
	roll := runner.Roll(&schedule)
	b.Run("air", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			runner.AirDistance(&schedule, roll, 15.24)
		}
	})
	b.Run("stop", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			runner.Stop(&schedule, roll.State, 1)
		}
	})
}
