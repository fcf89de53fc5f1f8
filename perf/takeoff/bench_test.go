package takeoff_test

import (
	"fmt"
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

// A box around a take-off with two units.
func BenchmarkBox(b *testing.B) {
	s := reference1(b, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		b.Fatal(err)
	}
	var schedule booster.Schedule
	q := takeoff.BoxQuestion{Units: s.Units, Firing: rolling(3.5), Policy: takeoff.DefaultPolicy(), AvailableM: 130}
	for _, covered := range []bool{false, true} {
		q.Covered = covered
		b.Run(fmt.Sprintf("covered=%t", covered), func(b *testing.B) {
			for b.Loop() {
				if _, ok := runner.Box(&schedule, q); !ok {
					b.Fatal("no box")
				}
			}
		})
	}
}
