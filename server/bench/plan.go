package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"bowroll/client"
	"bowroll/client/cycle"
	"bowroll/client/gather"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/assembly"
)

// planTurns is how many cycles of a size are planned.
const planTurns = 5

// plans measures a plan from file to answer: the file is read, the service in this
// process plans it on planned firing with every failure leg, and the stream gives
// the whole plan. Every cycle is another, so that nothing is served from memory.
func plans(ctx context.Context) ([]figure, error) {
	c, err := client.InProcess(ctx, assembly.InProcess)
	if err != nil {
		return nil, err
	}
	defer c.Close()
	var list []figure
	for _, size := range []struct {
		sorties, lots int
		bar           float64
	}{{40, 6, 1.5}, {200, 10, 10}} {
		var times []float64
		for i := range planTurns + 1 {
			text := cycleFile(uint64(i), size.sorties, size.lots)
			began := time.Now()
			asked, _, err := cycle.Read("bench.yaml", []byte(text))
			if err != nil {
				return nil, err
			}
			plan, err := gather.Plan(ctx, c, &bowrollv1.CyclesPlanRequest{Cycle: asked}, nil)
			if err != nil {
				return nil, err
			}
			if !plan.GetOptimal() {
				return nil, fmt.Errorf("cycle %d of %d sorties is not proven", i, size.sorties)
			}
			if i > 0 { // the first warms up
				times = append(times, time.Since(began).Seconds())
			}
		}
		list = append(list, figure{name: fmt.Sprintf("plan_%dx%d", size.sorties, size.lots), value: median(times), unit: "s", bar: size.bar})
	}
	return list, nil
}

// cycleFile is a random cycle as a planner would write it: four types, masses to
// ten pounds, lots of two booster types at their own grain temperatures, units for
// about two of three that want them. The same seed gives the same file.
func cycleFile(seed uint64, sorties, lots int) string {
	r := rand.New(rand.NewPCG(seed, uint64(1000*sorties+lots)))
	var b strings.Builder
	fmt.Fprintf(&b, `id: bench
deck: sites/varrow/decks/main
start_time: 2041-03-07T05:30:00Z
air: {pressure: 29.83 inHg, temperature: 88 degF, relative_humidity: 84 %%}
natural_wind: {from: 292 deg, speed: 10 kt, lull: 7 kt, gust: 13 kt}
greatest_speed: 20 kt
crews: {team_count: %d, fit_time: 4 min, hold_least: 5 min, hold_greatest: 50 min}
sorties:
`, max(3, sorties/12))
	types := []struct {
		name      string
		low, high int // mass in pounds
		spots     []string
	}{
		{"corvane", 11200, 13800, []string{"s3", "s4", "s5"}},
		{"halbrook", 10200, 12600, []string{"s5", "s6"}},
		{"wendrake", 27000, 30500, []string{"s6", "s7"}},
		{"ostrel", 96000, 121000, []string{"s8"}},
	}
	for i := range sorties {
		t := types[[]int{0, 0, 0, 1, 1, 1, 2, 2, 3}[r.IntN(9)]]
		fmt.Fprintf(&b, "  - {id: %s-%d, launch: %d s, priority: %d, aircraft_type: %s, flap: takeoff, gross_mass: %d lb, spot: %s}\n",
			t.name, i+1, 600+i*75, 1+r.IntN(100), t.name, t.low+10*r.IntN((t.high-t.low)/10), t.spots[r.IntN(len(t.spots))])
	}
	b.WriteString("lots:\n")
	for l := range lots {
		kind := []string{"emberlin-6", "gaunt-12"}[l%2]
		fmt.Fprintf(&b, "  - {id: lot-%02d, booster_type: %s, usable_count: %d, grain_temperature: %d degF, expire_time: 2041-%02d-28T23:59:59Z}\n",
			l+1, kind, max(2, 4*sorties/(3*lots)+r.IntN(5)-2), 60+r.IntN(20), 4+(l*7)%9)
	}
	return b.String()
}
