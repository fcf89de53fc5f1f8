package calibrate_test

import (
	"context"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"bowroll/perf/calibrate"
	"bowroll/testdata/longer"
)

// replicates is how many simulated squadrons the coverage is counted over;
// BOWROLL_CALIBRATE_REPLICATES asks for more.
func replicates(t *testing.T) int {
	usual := 40
	if testing.Short() {
		usual = 10
	}
	return longer.Count(t, "BOWROLL_CALIBRATE_REPLICATES", usual)
}

func make1(t *testing.T, runs []calibrate.Run, s calibrate.Settings) *calibrate.Fit {
	t.Helper()
	fit, err := calibrate.Make(context.Background(), runs, s)
	if err != nil {
		t.Fatal(err)
	}
	return fit
}

// Corrections that are known because the runs were made with them lie inside
// their 90 % intervals nine times in ten, with a tenth of the runs grossly wrong.
func TestIntervalsCover(t *testing.T) {
	n := replicates(t)
	for _, gross := range []float64{0, 0.1} {
		settings := calibrate.DefaultSettings()
		held := map[string]int{}
		tried := map[string]int{}
		count := func(what string, e calibrate.Estimate, truth float64) {
			tried[what]++
			if e.Low <= truth && truth <= e.High {
				held[what]++
			}
		}
		var missed, caught, sound, blamed, before, after int
		for i := range n {
			rng := rand.New(rand.NewPCG(7, uint64(i)))
			w := draw(rng, settings, 6, 2, 3)
			runs, wrong := w.fly(rng, 120, gross)
			fit := make1(t, runs, settings)
			count("thrust", fit.Thrust, w.thrust)
			count("rolling friction", fit.RollingFriction, w.friction)
			count("drag", fit.Drag, w.drag)
			for _, o := range fit.Offsets {
				count(string(o.Group), o.Estimate, map[calibrate.Group]map[string]float64{calibrate.Tail: w.tails, calibrate.Deck: w.decks, calibrate.Lot: w.lots}[o.Group][o.Key])
			}
			for k, j := range fit.Judgements {
				switch flagged := j.Flag != calibrate.Sound; {
				case wrong[runs[k].ID] && flagged:
					caught++
				case wrong[runs[k].ID]:
					missed++
				case flagged:
					blamed++
				default:
					sound++
				}
			}
			if *fit.HeldOut.ScoreRMS < *fit.Uncorrected.ScoreRMS {
				after++
			} else {
				before++
			}
		}
		for _, what := range []string{"thrust", "rolling friction", "drag", "tail", "deck", "lot"} {
			p := float64(held[what]) / float64(tried[what])
			// Offsets of one squadron share their runs: n is what counts.
			sigma := math.Sqrt(0.9 * 0.1 / float64(n))
			t.Logf("gross %.0f %%: %s inside its interval %d of %d times (%.1f %%)", 100*gross, what, held[what], tried[what], 100*p)
			if p < 0.9-3*sigma || p > 0.9+3*sigma {
				t.Errorf("gross %.0f %%: %s is inside its 90 %% interval in %.1f %% of %d, want within three standard errors, %.1f", 100*gross, what, 100*p, n, 300*sigma)
			}
		}
		t.Logf("gross %.0f %%: %d wrong runs flagged, %d not; %d of %d sound runs flagged; held-out error below the uncorrected %d of %d times", 100*gross, caught, missed, blamed, blamed+sound, after, after+before)
		if 100*blamed > blamed+sound {
			t.Errorf("%d of %d sound runs are flagged, want at most one in a hundred", blamed, blamed+sound)
		}
		if gross > 0 && caught < 3*missed {
			t.Errorf("%d wrong runs are flagged and %d not", caught, missed)
		}
		if after*10 < 8*(after+before) {
			t.Errorf("the correction predicts unseen runs better %d of %d times", after, after+before)
		}
	}
}

// Small groups are estimated better drawn towards the type than alone.
func TestShrinkageBeatsNone(t *testing.T) {
	settings := calibrate.DefaultSettings()
	var shrunk, alone float64
	n := 0
	for i := range 12 {
		rng := rand.New(rand.NewPCG(11, uint64(i)))
		w := draw(rng, settings, 20, 2, 3)
		runs, _ := w.fly(rng, 60, 0) // three runs an aircraft
		for _, o := range make1(t, runs, settings).Offsets {
			if o.Group != calibrate.Tail || o.Alone == nil {
				continue
			}
			truth := w.tails[o.Key]
			shrunk += (o.Value - truth) * (o.Value - truth)
			alone += (*o.Alone - truth) * (*o.Alone - truth)
			n++
		}
	}
	shrunk, alone = math.Sqrt(shrunk/float64(n)), math.Sqrt(alone/float64(n))
	t.Logf("%d aircraft of about three runs: error of thrust %.4f drawn towards the type, %.4f alone", n, shrunk, alone)
	if !(shrunk < 0.95*alone) {
		t.Errorf("drawn towards the type %.4f, alone %.4f", shrunk, alone)
	}
}

// One run that could not be true moves nothing.
func TestOneGrossRunMovesNothing(t *testing.T) {
	settings := calibrate.DefaultSettings()
	rng := rand.New(rand.NewPCG(5, 5))
	w := draw(rng, settings, 3, 1, 2)
	runs, _ := w.fly(rng, 80, 0)
	clean := make1(t, runs, settings)
	far := *runs[10].DistanceM * 3
	slow := *runs[10].TimeS * 2
	runs[10].DistanceM, runs[10].TimeS = &far, &slow
	spoiled := make1(t, runs, settings)
	if spoiled.Judgements[10].Flag == calibrate.Sound || spoiled.Judgements[10].Reason == "" {
		t.Errorf("a run of three times the distance is %+v", spoiled.Judgements[10])
	}
	if d := math.Abs(spoiled.Thrust.Value - clean.Thrust.Value); d > clean.Thrust.Sigma/2 {
		t.Errorf("it moves thrust by %.4f, where the estimate is good to %.4f", d, clean.Thrust.Sigma)
	}
}

// A fit is the same every time, and does not depend on memory of others.
func TestDeterministic(t *testing.T) {
	settings := calibrate.DefaultSettings()
	rng := rand.New(rand.NewPCG(9, 1))
	runs, _ := draw(rng, settings, 4, 2, 2).fly(rng, 60, 0.1)
	first := make1(t, runs, settings)
	if again := make1(t, runs, settings); !reflect.DeepEqual(first, again) {
		t.Error("the same runs give another fit")
	}
}

// Runs that are all alike say nothing of thrust and drag apart, and that is said.
func TestAlikeRunsAreConfounded(t *testing.T) {
	settings := calibrate.DefaultSettings()
	rng := rand.New(rand.NewPCG(2, 3))
	w := draw(rng, settings, 1, 1, 1)
	runs, _ := w.fly(rng, 1, 0)
	one := runs[0]
	runs = nil
	for range 80 {
		r := one
		w.observe(rng, &r)
		runs = append(runs, r)
	}
	fit := make1(t, runs, settings)
	t.Logf("correlations %.2f and %.2f, learned %.2f %.2f %.2f; %q", fit.ThrustDrag, fit.ThrustFriction, fit.Thrust.Learned(), fit.RollingFriction.Learned(), fit.Drag.Learned(), fit.Cautions)
	said := false
	for _, c := range fit.Cautions {
		said = said || strings.Contains(c, "thrust and drag cannot be told apart")
	}
	if !said {
		t.Errorf("nobody is told: %q", fit.Cautions)
	}
}

// The drift alarm sounds as often as is stated while nothing is wrong, and as
// soon as is stated once something is.
func TestDriftRunLengths(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	normal := distuv.UnitNormal
	for _, test := range []struct{ falseAlarms, shift float64 }{{100, 0}, {500, 0}, {500, 1}, {500, -1}, {500, 2}} {
		const sequences = 1500
		var total float64
		d := calibrate.NewDrift(test.falseAlarms)
		for range sequences {
			c := d
			for c.Alarm < 0 {
				c.Add(test.shift+normal.Quantile(rng.Float64()), c.Count)
			}
			total += float64(c.Count)
		}
		mean, want := total/sequences, calibrate.RunsToAlarm(d.Threshold, test.shift)
		t.Logf("threshold %.2f, shift %+.0f: an alarm after %.1f runs, stated %.1f", d.Threshold, test.shift, mean, want)
		if math.Abs(mean/want-1) > 0.1 {
			t.Errorf("shift %+.0f: an alarm after %.1f runs on average, stated %.1f", test.shift, mean, want)
		}
	}
}

// Drift of real runs: a squadron whose engines lose thrust half way is found.
func TestDriftOfRunsIsFound(t *testing.T) {
	settings := calibrate.DefaultSettings()
	rng := rand.New(rand.NewPCG(4, 4))
	w := world{tails: map[string]float64{"tail-00": 0}, decks: map[string]float64{"deck-0": 0}, lots: map[string]float64{"lot-0": 0}}
	sound, _ := w.fly(rng, 60, 0)
	w.thrust = -0.06
	worn, _ := w.fly(rng, 60, 0)
	alarm := func(runs []calibrate.Run) int {
		residuals, err := calibrate.Residuals(context.Background(), runs)
		if err != nil {
			t.Fatal(err)
		}
		d := calibrate.NewDrift(settings.FalseAlarmRuns)
		for i, r := range residuals {
			if r.Flag == calibrate.Sound && r.Score != nil {
				d.Add(*r.Score, i)
			}
		}
		return d.Alarm
	}
	if at := alarm(sound); at >= 0 {
		t.Errorf("an alarm at run %d of a squadron that is as its data say", at)
	}
	at := alarm(append(sound, worn...))
	t.Logf("6 %% less thrust from run %d: an alarm at run %d", len(sound), at)
	if at < len(sound) || at > len(sound)+30 {
		t.Errorf("an alarm at run %d, want one soon after %d", at, len(sound))
	}
}

func BenchmarkFit300(b *testing.B) {
	settings := calibrate.DefaultSettings()
	rng := rand.New(rand.NewPCG(7, 7))
	runs, _ := draw(rng, settings, 12, 3, 5).fly(rng, 300, 0.1)
	for b.Loop() {
		if _, err := calibrate.Make(context.Background(), runs, settings); err != nil {
			b.Fatal(err)
		}
	}
}
