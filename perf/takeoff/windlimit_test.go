package takeoff_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// randomWindCase draws a load and what it is held against.
func randomWindCase(rng *rand.Rand) (takeoff.Setting, takeoff.WindQuestion) {
	setting, firing := randomSetting(rng)
	if rng.IntN(5) == 0 {
		setting.Units = nil
	}
	if firing.Mode == takeoff.Rolling {
		firing.DelayS, firing.ReactionS = rng.Float64()*4, 0.5
	}
	p := takeoff.DefaultPolicy()
	p.RunFactor = 1 + 0.3*rng.Float64()
	p.Legs = takeoff.LegRule(rng.IntN(4))
	return setting, takeoff.WindQuestion{
		Firing: firing, Replanned: rng.IntN(4) > 0,
		Demand: takeoff.Demand{AvailableM: 60 + rng.Float64()*250, Policy: p},
	}
}

// goes tells by a single take-off whether a load may go in a wind.
func goes(t *testing.T, s takeoff.Setting, q takeoff.WindQuestion, headwindMPS float64) (bool, takeoff.Outcome) {
	t.Helper()
	s.HeadwindMPS = headwindMPS
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		t.Fatal(err)
	}
	var schedule booster.Schedule
	a := runner.Assess(&schedule, takeoff.Plan{Firing: q.Firing, Search: q.Replanned, Failures: true}, q.Demand)
	return !a.Verdict.Outcome().Holds(), a.Verdict.Outcome()
}

func search(t *testing.T, s takeoff.Setting, q takeoff.WindQuestion) takeoff.WindLimit {
	t.Helper()
	w, err := takeoff.NewWindSearch(s, q)
	if err != nil {
		t.Fatal(err)
	}
	return w.Limit()
}

// beside is the wind some steps from another one.
func beside(headwindMPS, steps float64) float64 {
	return (math.Round(headwindMPS/takeoff.WindStepMPS) + steps) * takeoff.WindStepMPS
}

// A limit is where single take-offs say it is: one step below it the aircraft is
// held, and from it on it goes, up to where it is held again.
func TestWindLimitIsWhereSingleTakeoffsChange(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	count := 360
	if testing.Short() {
		count = 60
	}
	seen := map[takeoff.Outcome]int{}
	for i := range count {
		s, q := randomWindCase(rng)
		switch i % 12 {
		case 0:
			q.Demand.ScreenM = 10.668
		case 1:
			q.Demand.LeastGradient = 0.05
		case 2:
			q.Demand.PermittedSinkM, q.Demand.EdgeHeightM = 2, new(18.0)
		}
		l := search(t, s, q)
		seen[l.Binds]++
		rng := rand.New(rand.NewPCG(uint64(i), 5))
		if l.Outcome == takeoff.NeverFits {
			for range 3 {
				x := -10 + 55*rng.Float64()
				if ok, _ := goes(t, s, q, x); ok {
					t.Errorf("case %d: no wind is said to do, yet %g m/s does (%v)", i, x, l.Binds)
				}
			}
			continue
		}
		if ok, o := goes(t, s, q, l.HeadwindMPS); !ok {
			t.Errorf("case %d: %v at the limit of %.9g m/s", i, o, l.HeadwindMPS)
		}
		if l.Outcome == takeoff.LimitFound {
			if ok, o := goes(t, s, q, beside(l.HeadwindMPS, -1)); ok || o != l.Binds && !(o == takeoff.NeverGetsOff && l.Binds == takeoff.RunTooLong) {
				t.Errorf("case %d: a step below %.9g m/s it is %v, the limit says %v", i, l.HeadwindMPS, o, l.Binds)
			}
			for range 2 {
				if x := l.HeadwindMPS - (l.HeadwindMPS+10)*rng.Float64(); x < l.HeadwindMPS-1e-5 {
					if ok, _ := goes(t, s, q, x); ok && q.Demand.PermittedSinkM == 0 {
						t.Errorf("case %d: goes at %g m/s, below the limit of %g", i, x, l.HeadwindMPS)
					}
				}
			}
		}
		most := min(l.MostMPS, takeoff.GreatestHeadwindMPS)
		for range 3 {
			x := l.HeadwindMPS + (most-l.HeadwindMPS)*rng.Float64()
			if ok, o := goes(t, s, q, x); !ok {
				t.Errorf("case %d: %v at %g m/s, inside %g to %g", i, o, x, l.HeadwindMPS, most)
			}
		}
		if !math.IsInf(l.MostMPS, 1) {
			if ok, o := goes(t, s, q, beside(l.MostMPS, 1)); ok || o != l.MostBinds {
				t.Errorf("case %d: a step above %.9g m/s it is %v, the limit says %v", i, l.MostMPS, o, l.MostBinds)
			}
		}
	}
	for _, o := range []takeoff.Outcome{takeoff.RunTooLong, takeoff.NoLegCovers, takeoff.CannotClimb} {
		if seen[o] == 0 {
			t.Errorf("no limit is bound by %q: the draw no longer covers it", o)
		}
	}
	t.Log(seen)
}

// The search that follows the firing finds what the plain one, which looks
// through all firings at every wind, finds.
func TestWindLimitAgainstNestedSearch(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	count := 240
	if testing.Short() {
		count = 40
	}
	compared := 0
	for i := range count {
		s, q := randomWindCase(rng)
		q.Demand.Policy.Legs = takeoff.LegNeither
		runner, err := takeoff.NewRunner(s)
		if err != nil {
			t.Fatal(err)
		}
		var schedule booster.Schedule
		plain := runner.LeastHeadwind(&schedule, takeoff.LimitQuestion{
			Units: s.Units, Firing: q.Firing, Replanned: q.Replanned && len(s.Units) > 0,
			Search: takeoff.FiringSearch{Brakes: true, ReactionS: q.Firing.ReactionS},
			Factor: q.Demand.Policy.RunFactor, AvailableM: q.Demand.AvailableM,
		})
		l := search(t, s, q)
		if l.Outcome != takeoff.LimitFound || plain.Outcome != takeoff.LimitFound || l.Binds != takeoff.RunTooLong || plain.At.HoldMarginN < 0 {
			continue // the plain search lets brakes creep
		}
		compared++
		if over := l.HeadwindMPS - plain.Value; over < -2e-9 || over > 1.1*takeoff.WindStepMPS {
			t.Errorf("case %d (%v): %.9f m/s, the nested search %.9f", i, plain.At.Firing, l.HeadwindMPS, plain.Value)
		}
	}
	if compared < count/4 {
		t.Errorf("only %d compared", compared)
	}
	t.Logf("%d compared", compared)
}

// Where a search begins changes nothing in what it finds: a cell of a table is
// the same bits in any table.
func TestWindLimitDoesNotDependOnWhatWasSearchedBefore(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 3))
	count := 40
	if testing.Short() {
		count = 6
	}
	for range count {
		s, q := randomWindCase(rng)
		var up []takeoff.WindLimit
		masses := make([]float64, 6)
		for i := range masses {
			masses[i] = s.GrossMassKG * (0.9 + 0.03*float64(i))
			alone := s
			alone.GrossMassKG = masses[i]
			up = append(up, search(t, alone, q))
		}
		w, err := takeoff.NewWindSearch(s, q)
		if err != nil {
			t.Fatal(err)
		}
		for i := len(masses) - 1; i >= 0; i-- {
			w.SetGrossMass(masses[i])
			if got := w.Limit(); got.HeadwindMPS != up[i].HeadwindMPS || got.Outcome != up[i].Outcome ||
				got.At != up[i].At || got.MostMPS != up[i].MostMPS || got.Binds != up[i].Binds {
				t.Errorf("mass %g: %+v after others, %+v alone", masses[i], got, up[i])
			}
		}
	}
}

// BenchmarkWindLimit is a column of a table: ten masses one after another, beside
// the search that looks through all firings at every wind.
func BenchmarkWindLimit(b *testing.B) {
	rng := rand.New(rand.NewPCG(4, 4))
	const masses = 10
	var settings []takeoff.Setting
	var questions []takeoff.WindQuestion
	for range 12 {
		s, q := randomWindCase(rng)
		q.Replanned, q.GreatestMPS = true, 23
		settings, questions = append(settings, s), append(questions, q)
	}
	mass := func(i, k int) float64 { return settings[i].GrossMassKG * (0.9 + 0.02*float64(k)) }
	perCell := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*masses*len(settings)), "us/cell")
	}
	b.Run("followed", func(b *testing.B) {
		for b.Loop() {
			for i := range settings {
				w, err := takeoff.NewWindSearch(settings[i], questions[i])
				if err != nil {
					b.Fatal(err)
				}
				for k := range masses {
					w.SetGrossMass(mass(i, k))
					w.Limit()
				}
			}
		}
		perCell(b)
	})
	b.Run("nested, run alone", func(b *testing.B) {
		var schedule booster.Schedule
		for b.Loop() {
			for i, s := range settings {
				runner, err := takeoff.NewRunner(s)
				if err != nil {
					b.Fatal(err)
				}
				for k := range masses {
					runner.SetGrossMass(mass(i, k))
					runner.LeastHeadwind(&schedule, takeoff.LimitQuestion{
						Units: s.Units, Replanned: len(s.Units) > 0, Search: takeoff.FiringSearch{Brakes: true},
						Factor: questions[i].Demand.Policy.RunFactor, AvailableM: questions[i].Demand.AvailableM,
					})
				}
			}
		}
		perCell(b)
	})
}

// A short, strong unit on brakes that do not hold: what is the best firing moves
// from the end of the roll to its beginning between two winds looked at, and the
// firing followed from one to the other is off before it lights. The winds above
// are looked through all the same.
func TestGreatestWindBehindAFiringThatJumps(t *testing.T) {
	elevation, qnh, temperature := 2890.8, 102494.0, 9.42
	day, err := air.At(air.Conditions{ElevationM: &elevation, QNHPa: &qnh, TemperatureC: &temperature})
	if err != nil {
		t.Fatal(err)
	}
	kind := &booster.Type{
		TraceS: []float64{0, 0, 0.57, 0.57, 1.42, 1.42}, TraceN: []float64{0, 94772, 94772, 37909, 37909, 0},
		LoadedMassKG: 126, PropellantMassKG: 45, ReferenceTemperatureC: 15, CantDeg: -10.5, IgnitionDelayS: 0.02,
	}
	s := takeoff.Setting{
		Aircraft: &aircraft.Type{
			WingAreaM2: 632.792, SpanM: 83.6, Oswald: 0.669, LiftoffFactor: 1.248, RotationTimeS: 1.31,
			EmptyMassKG: 30000, MaxMassKG: 50000, Flaps: []aircraft.Flap{{CLMax: 2.936, CLRoll: 0.462, CD0: 0.0938}},
			Thrust: aircraft.ThrustTable{AirspeedMPS: []float64{0, 150}, ThrustN: []float64{87716.5, 87716.5}, DensityExponent: 1},
		},
		GrossMassKG: 39099.4, Air: day, Surface: takeoff.Surface{RollingFriction: 0.0152, BrakingFriction: 0.17},
		Units: []booster.Unit{{Type: kind, GrainTemperatureC: 21}},
	}
	q := takeoff.WindQuestion{
		Firing: takeoff.Firing{Mode: takeoff.OnBrakes}, Replanned: true,
		Demand: takeoff.Demand{AvailableM: 127.8, Policy: takeoff.Policy{RunFactor: 1}},
	}
	found := search(t, s, q)
	if found.Outcome != takeoff.LimitFound || found.MostBinds != takeoff.NeverFires {
		t.Fatalf("%+v, want a greatest wind", found)
	}
	if ok, o := goes(t, s, q, found.MostMPS); !ok {
		t.Errorf("at %g m/s %v", found.MostMPS, o)
	}
	if ok, o := goes(t, s, q, beside(found.MostMPS, 1)); ok || o != found.MostBinds {
		t.Errorf("above %g m/s %v", found.MostMPS, o)
	}
}
