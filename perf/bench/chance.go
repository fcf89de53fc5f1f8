package main

import (
	"context"
	"math"
	"time"

	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
)

// What the figures of chance are measured with.
const (
	chanceScrambles = 16
	chancePoints    = 625
	chanceCores     = 2
	chanceTurns     = 15
	batchMoments    = 32
)

// chances measures sampling, planned firing and many runs of one take-off beside
// calls one by one. Each is the mean over the cases of the fastest of some turns.
func chances(ctx context.Context, cases []*nominal, _ string) ([]figure, error) {
	sample := chance.NewSample(1, chanceScrambles, chancePoints)
	var planner chance.Planner
	var planned, sampled, alone, batch float64
	for _, n := range cases {
		c := &chance.Case{Runner: n.runner, Units: n.setting.Units, Dispersions: chance.DefaultDispersions()}
		c.Dispersions.UnitThrust, c.Dispersions.UnitBurnTime = new(0.02), new(0.02)
		c.Dispersions.IgnitionDelayS, c.Dispersions.DudProbability = new(0.03), new(0.01)
		available := 1.4 * n.roll.RunM
		var err error
		plan := fastestOf(chanceTurns, func() {
			if err == nil {
				_, err = planner.Plan(ctx, c, chance.Search{
					AvailableM: available, Policy: takeoff.DefaultPolicy(), Percentile: 0.95,
					Brakes: true, ReactionS: 0.5, House: takeoff.HouseRules(),
				}, sample)
			}
		})
		evaluate := fastestOf(chanceTurns, func() {
			if err == nil {
				_, err = chance.Evaluate(ctx, c, chance.Question{Firing: n.firing, AvailableM: available, Percentile: 0.95}, sample, chanceCores)
			}
		})
		if err != nil {
			return nil, err
		}
		one, many := n.moments()
		planned, sampled = planned+plan, sampled+evaluate
		alone, batch = alone+fastestOf(chanceTurns, one), batch+fastestOf(chanceTurns, many)
	}
	count := float64(len(cases)) * float64(time.Millisecond)
	return []figure{
		{name: "planned firing with legs", value: planned / count, unit: "ms", bar: 3},
		{name: "chance of 10 000 draws", value: sampled / count, unit: "ms", bar: 25},
		{name: "runs in batch / one by one", value: alone / batch, bar: 3, atLeast: true},
	}, nil
}

// moments are two ways of computing the run of a case fired at many moments:
// each prepared and rolled by itself, and all by one estimator.
func (n *nominal) moments() (one, many func()) {
	at := func(i int) float64 { return n.roll.TimeS * float64(i) / batchMoments }
	var alone, shared booster.Schedule
	var estimate takeoff.Estimator
	one = func() {
		for i := range batchMoments {
			runner, err := takeoff.NewRunner(n.setting)
			if err != nil {
				panic(err) // it was prepared before
			}
			alone.Build(n.setting.Units, at(i))
			runner.Roll(&alone)
		}
	}
	many = func() {
		shared.Build(n.setting.Units, 0)
		estimate.Set(n.runner, &shared)
		for i := range batchMoments {
			if _, ok := estimate.RunM(at(i)); !ok {
				alone.Build(n.setting.Units, at(i))
				n.runner.Roll(&alone)
			}
		}
	}
	return one, many
}

// fastestOf is the time in nanoseconds of the fastest of some turns.
func fastestOf(turns int, work func()) float64 {
	least := math.Inf(1)
	for range turns {
		begin := time.Now()
		work()
		least = min(least, float64(time.Since(begin).Nanoseconds()))
	}
	return least
}
