package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	"bowroll/perf/vectors"
)

// nominal is a run with two units that lifts off.
type nominal struct {
	id       string
	setting  takeoff.Setting
	firing   takeoff.Firing
	runner   *takeoff.Runner
	schedule booster.Schedule
	roll     takeoff.Roll
}

// accuracy is what every contestant must reach on distance and time, relative.
const accuracy = 1e-6

// rounds is how often model and rival take turns.
const rounds = 9

// twoUnitRuns takes every run with two units out of the reference vectors.
func twoUnitRuns(path string) ([]*nominal, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	list, err := vectors.Read(file)
	if err != nil {
		return nil, err
	}
	var runs []*nominal
	for i := range list {
		if list[i].Case.Boosters == nil || list[i].Case.Boosters.Count != 2 {
			continue
		}
		n := &nominal{id: list[i].ID}
		if n.setting, n.firing, err = list[i].Case.Setting(); err != nil {
			return nil, err
		}
		if n.runner, err = takeoff.NewRunner(n.setting); err != nil {
			return nil, err
		}
		n.firing.Schedule(&n.schedule, n.setting.Units)
		if n.roll = n.runner.Roll(&n.schedule); n.roll.LiftsOff {
			runs = append(runs, n)
		}
	}
	if len(runs) == 0 {
		return nil, fmt.Errorf("%s has no run with two units that lifts off", path)
	}
	return runs, nil
}

// nanoseconds is the processor time of one run of the model, over so many repeats.
// Rivals are measured alike, so that what else the machine does counts for neither.
func (n *nominal) nanoseconds(repeats int) float64 {
	begin := processorTime()
	for range repeats {
		n.runner.Roll(&n.schedule)
	}
	return float64((processorTime() - begin).Nanoseconds()) / float64(repeats)
}

// off is how far a rival's answer is from the model's, relative.
func (n *nominal) off(o outcome) float64 {
	return max(math.Abs(o.distance-n.roll.DistanceM)/n.roll.DistanceM, math.Abs(o.seconds-n.roll.TimeS)/n.roll.TimeS)
}

// rival asks a rival for a run with the arguments of one setting of it.
type rival func(ctx context.Context, n *nominal, repeats int, setting []string) (outcome, error)

// fastest finds the setting of a rival that is right and fastest on a run.
func fastest(ctx context.Context, n *nominal, ask rival, settings [][]string, repeats int) ([]string, error) {
	var best []string
	least := math.Inf(1)
	for _, setting := range settings {
		o, err := ask(ctx, n, repeats, setting)
		if err != nil {
			return nil, err
		}
		if n.off(o) <= accuracy && o.nanoseconds < least {
			best, least = setting, o.nanoseconds
		}
	}
	if math.IsInf(least, 1) {
		return nil, fmt.Errorf("%s: the rival agrees at no tolerance", n.id)
	}
	return best, nil
}

// duel measures model and rival in turns over all runs and returns the median
// times of one run and the median ratio rival/model.
func duel(ctx context.Context, cases []*nominal, ask rival, settings [][]string, own, theirs, turns int) (model, other, ratio float64, err error) {
	chosen := make([][]string, len(cases))
	for i, n := range cases {
		if chosen[i], err = fastest(ctx, n, ask, settings, max(1, theirs/10)); err != nil {
			return 0, 0, 0, err
		}
	}
	var models, others, ratios []float64
	for range turns {
		var a, b float64
		for i, n := range cases {
			a += n.nanoseconds(own)
			o, err := ask(ctx, n, theirs, chosen[i])
			if err != nil {
				return 0, 0, 0, err
			}
			b += o.nanoseconds
		}
		models, others, ratios = append(models, a), append(others, b), append(ratios, b/a)
	}
	count := float64(len(cases))
	return median(models) / count, median(others) / count, median(ratios), nil
}

// sameMethod is how near the model's own method in another language must come: to
// what rounding and the tolerance of a step leave.
const sameMethod = 1e-9

// againstC measures the model beside its own method in C, held to a bar, and beside
// a plain one, for information.
func againstC(ctx context.Context, cases []*nominal, folder string) ([]figure, error) {
	f := figure{name: "roll_time_over_c", unit: "x", bar: 1.2}
	program, err := buildC(ctx, folder, "taylor")
	if errors.Is(err, errNoRival) {
		f.skipped = err.Error()
		return []figure{f}, nil
	} else if err != nil {
		return nil, err
	}
	worst := 0.0
	series := func(ctx context.Context, n *nominal, repeats int, _ []string) (outcome, error) {
		o, err := ask(ctx, problem(n.runner, &n.schedule), program, strconv.Itoa(repeats))
		worst = max(worst, n.off(o))
		return o, err
	}
	model, c, ratio, err := duel(ctx, cases, series, [][]string{nil}, 20000, 20000, rounds)
	if err != nil {
		return nil, err
	}
	f.value = 1 / ratio
	plain, err := buildC(ctx, folder, "rungekutta")
	if err != nil {
		return nil, err
	}
	steps := func(ctx context.Context, n *nominal, repeats int, setting []string) (outcome, error) {
		return ask(ctx, problem(n.runner, &n.schedule), plain, setting[0], strconv.Itoa(repeats))
	}
	tolerances := [][]string{{"1e-4"}, {"1e-5"}, {"3e-6"}, {"1e-6"}, {"3e-7"}, {"1e-7"}, {"3e-8"}, {"1e-8"}, {"1e-9"}, {"1e-10"}}
	_, _, against, err := duel(ctx, cases, steps, tolerances, 20000, 20000, rounds/2)
	if err != nil {
		return nil, err
	}
	return []figure{
		{name: "roll_two_units", value: model / 1000, unit: "us", noBar: true},
		{name: "roll_two_units_c", value: c / 1000, unit: "us", noBar: true},
		f,
		{name: "roll_off_c", value: worst, bar: sameMethod},
		{name: "roll_time_over_c_rungekutta", value: 1 / against, unit: "x", noBar: true},
	}, nil
}

func againstSciPy(ctx context.Context, cases []*nominal, folder string) ([]figure, error) {
	f := figure{name: "scipy_time_over_roll", unit: "x", bar: 1000, atLeast: true}
	script, err := findSciPy(ctx, folder)
	if errors.Is(err, errNoRival) {
		f.skipped = err.Error()
		return []figure{f}, nil
	} else if err != nil {
		return nil, err
	}
	asked := func(ctx context.Context, n *nominal, repeats int, setting []string) (outcome, error) {
		return ask(ctx, problem(n.runner, &n.schedule), debianPython, script, setting[0], setting[1], strconv.Itoa(repeats))
	}
	var settings [][]string
	for _, method := range []string{"RK45", "DOP853"} {
		for _, tolerance := range []string{"1e-5", "1e-6", "1e-7", "1e-8"} {
			settings = append(settings, []string{method, tolerance})
		}
	}
	// Two runs are enough to see three orders of magnitude.
	_, _, f.value, err = duel(ctx, cases[:min(2, len(cases))], asked, settings, 20000, 20, 7)
	return []figure{f}, err
}

// ownFigures are those without a rival.
func ownFigures(_ context.Context, cases []*nominal, _ string) ([]figure, error) {
	n := cases[0]
	allocations := testing.AllocsPerRun(100, func() { n.runner.Roll(&n.schedule) })
	var times []float64
	for range rounds {
		begin := time.Now()
		n.runner.BestFiring(&n.schedule, n.setting.Units, takeoff.FiringSearch{Brakes: true, ReactionS: 0.7})
		times = append(times, float64(time.Since(begin).Nanoseconds())/1e6)
	}
	return []figure{
		{name: "roll_allocations", value: allocations, bar: 0},
		{name: "nominal_best_firing", value: median(times), unit: "ms", bar: 3},
	}, nil
}

func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	return sorted[len(sorted)/2]
}
