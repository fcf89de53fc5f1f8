package chance_test

import (
	"context"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
)

func BenchmarkEvaluate(b *testing.B) {
	c := light(b, 25, 4)
	sample := chance.NewSample(1, 16, 625)
	for b.Loop() {
		if _, err := chance.Evaluate(context.Background(), c, chance.Question{
			Firing: takeoff.Firing{Mode: takeoff.Rolling, DelayS: 3}, AvailableM: 130, Percentile: 0.95,
		}, sample, 2); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlanFiring(b *testing.B) {
	c := light(b, 25, 4)
	sample := chance.NewSample(1, 16, 625)
	var planner chance.Planner
	plan := func() {
		if _, err := planner.Plan(context.Background(), c, chance.Search{
			AvailableM: 130, Policy: takeoff.DefaultPolicy(), Percentile: 0.95, Brakes: true, ReactionS: 0.5,
			House: takeoff.HouseRules(),
		}, sample); err != nil {
			b.Fatal(err)
		}
	}
	plan()
	b.ReportAllocs()
	for b.Loop() {
		plan()
	}
}

// What one exact run costs beside them.
func BenchmarkRoll(b *testing.B) {
	c := light(b, 25, 4)
	var schedule booster.Schedule
	schedule.Build(c.Units, 3)
	for b.Loop() {
		c.Runner.Roll(&schedule)
	}
}

func BenchmarkScreen(b *testing.B) {
	c := light(b, 25, 4)
	for b.Loop() {
		chance.Screen(c, takeoff.Firing{Mode: takeoff.Rolling, DelayS: 3}, 130)
	}
}
