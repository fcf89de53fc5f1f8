package takeoff_test

import (
	"math/rand/v2"
	"testing"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// applied is the take-off with a change made, assessed anew.
func applied(t *testing.T, s takeoff.Setting, q takeoff.ChangeQuestion, a takeoff.Assessment, c takeoff.Change) takeoff.Assessment {
	t.Helper()
	plan, d := q.Plan, q.Demand
	switch c.Input {
	case takeoff.InputCommand:
		plan.Firing = takeoff.Firing{Mode: takeoff.Rolling, ReactionS: a.Firing.ReactionS, DelayS: c.To}
	case takeoff.InputHeadwind:
		s.HeadwindMPS += c.By
		d.TailwindMPS = max(0, d.TailwindMPS-c.By)
		d.WindOverDeckMPS += c.By
	case takeoff.InputAvailable:
		d.AvailableM += c.By
	case takeoff.InputMass:
		s.GrossMassKG += c.By
	case takeoff.InputUnits:
		for _, units := range q.Fits {
			if len(units) == int(c.To) {
				s.Units = units
			}
		}
		plan.Search = len(s.Units) > 0
	}
	runner, err := takeoff.NewRunner(s)
	if err != nil {
		t.Fatal(err)
	}
	var schedule booster.Schedule
	return runner.Assess(&schedule, plan, d)
}

func holds(v takeoff.Verdict, o takeoff.Outcome, note string) bool {
	for _, f := range v {
		if f.Outcome == o && f.Note == note {
			return true
		}
	}
	return false
}

// Every change clears its finding and brings up nothing else that holds the
// aircraft.
func TestChangesClearTheirFinding(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var schedule booster.Schedule
	seen := map[takeoff.Outcome]int{}
	made := map[takeoff.Input]int{}
	rounds := 200
	if testing.Short() {
		rounds = 12
	}
	for range rounds {
		s, f := randomSetting(rng)
		full := s.Units
		if rng.IntN(3) == 0 && len(full) > 2 {
			s.Units = full[:2]
		}
		runner, err := takeoff.NewRunner(s)
		if err != nil {
			t.Fatal(err)
		}
		d := takeoff.Demand{
			AvailableM: 60 + 500*rng.Float64(), Policy: takeoff.DefaultPolicy(), MarginalM: 10, LeastSaving: 0.05, LeastGradient: 0.02,
			TailwindMPS: max(0, -s.HeadwindMPS), WindOverDeckMPS: 12, CeilingMPS: new(30.0), TailwindLimitMPS: new(2.0),
		}
		d.Policy.Legs = takeoff.LegRule(rng.IntN(4))
		q := takeoff.ChangeQuestion{
			Plan:   takeoff.Plan{Firing: f, Search: rng.IntN(3) == 0, Failures: true},
			Demand: d, Fits: [][]booster.Unit{nil, full[:2], full},
		}
		a := runner.Assess(&schedule, q.Plan, d)
		for _, finding := range a.Verdict {
			if finding.Outcome == takeoff.GetsOff {
				continue
			}
			before := map[takeoff.Outcome]bool{}
			for _, f := range a.Verdict {
				before[f.Outcome] = true
			}
			for _, c := range runner.Changes(&schedule, &a, q, finding) {
				seen[finding.Outcome]++
				made[c.Input]++
				after := applied(t, s, q, a, c)
				if holds(after.Verdict, finding.Outcome, finding.Note) {
					t.Errorf("%v is not cleared by %+v", finding.Outcome, c)
				}
				for _, f := range after.Verdict {
					if f.Outcome.Holds() && !before[f.Outcome] {
						t.Errorf("%v cleared by %+v brings up %v", finding.Outcome, c, f.Outcome)
					}
				}
			}
		}
	}
	t.Log(seen, made)
	for _, o := range []takeoff.Outcome{takeoff.NeverGetsOff, takeoff.CannotClimb, takeoff.RunTooLong, takeoff.NoLegCovers, takeoff.BurnOutInRotation, takeoff.Marginal} {
		if seen[o] == 0 && !testing.Short() {
			t.Errorf("no change was found for %v", o)
		}
	}
}

// Planner case D13 with a policy that accepts going on only: what would cover
// the failure is more wind, more run, another moment of firing or four units.
func TestChangesCoverAFailure(t *testing.T) {
	s := reference1(t, 0, 15, 28*knot)
	kind := unitA()
	kind.HangFireAllowanceS, kind.ThrustSigma, kind.BurnTimeSigma = new(0.1), new(0.01), new(0.01)
	s.Units = pairs(kind, 2, 15)
	runner, schedule, _ := rollOf(t, s, rolling(2.427))
	d := takeoff.Demand{AvailableM: 180, Policy: takeoff.DefaultPolicy()}
	d.Policy.Legs = takeoff.LegGo
	q := takeoff.ChangeQuestion{
		Plan: takeoff.Plan{Firing: rolling(2.427), Failures: true}, Demand: d,
		Fits: [][]booster.Unit{nil, s.Units, pairs(kind, 4, 15)},
	}
	a := runner.Assess(schedule, q.Plan, d)
	finding, ok := a.Verdict.Decisive()
	if !ok || finding.Outcome != takeoff.NoLegCovers || finding.Note != "unit 1 dud" {
		t.Fatalf("decisive %+v", finding)
	}
	changes := runner.Changes(schedule, &a, q, finding)
	by := map[takeoff.Input]float64{}
	for _, c := range changes {
		by[c.Input] = c.By
	}
	// 187.8 m with one dud: 7.8 m more run, to 0.5 % and the tolerance.
	within(t, "metres of run", by[takeoff.InputAvailable], 7.8, 1)
	if len(changes) != 5 || by[takeoff.InputUnits] != 2 || by[takeoff.InputHeadwind] <= 0 || by[takeoff.InputMass] >= 0 || by[takeoff.InputCommand] <= 0 {
		t.Errorf("changes %+v", changes)
	}
	for i := 1; i < len(changes); i++ {
		if changes[i].Input <= changes[i-1].Input {
			t.Errorf("%+v is not in order of what it costs", changes)
		}
	}
}

// Data that the type does not state is named, and a stop is not assumed where
// the brakes are not known.
func TestMissingDataIsNamed(t *testing.T) {
	s := reference1(t, 0, 15, 28*knot)
	s.Units = pairs(unitA(), 2, 15)
	s.Surface.BrakesUnknown = true
	runner, schedule, _ := rollOf(t, s, rolling(2.427))
	d := takeoff.Demand{AvailableM: 180, Policy: takeoff.DefaultPolicy()}
	a := runner.Assess(schedule, takeoff.Plan{Firing: rolling(2.427), Failures: true}, d)
	for _, name := range []string{"hang_fire_s", "thrust_sigma", "burn_time_sigma"} {
		if !holds(a.Verdict, takeoff.DataMissing, name) {
			t.Errorf("%s is not named in %+v", name, a.Verdict)
		}
	}
	for _, leg := range a.Legs.Legs {
		if leg.StopFits || leg.ReliedOn == takeoff.LegStop {
			t.Errorf("%v relies on brakes that are not known", leg.Failure)
		}
	}
	if runner.Commit(schedule, 2.427, s.Units, d.Policy, 180).Exists {
		t.Error("a commit point without brakes")
	}
}
