package allocate

import (
	"bytes"
	"context"
	"math/rand/v2"
	"os"
	"testing"

	"bowroll/perf/allocate/rival"
	"bowroll/testdata/longer"
)

// need skips without the solver, except in CI, where it has to be there.
func need(t testing.TB, s *rival.Solver) {
	t.Helper()
	err := s.Find()
	if err != nil && os.Getenv("CI") == "true" {
		t.Fatal(err)
	}
	if err != nil {
		t.Skip(err)
	}
}

func ask(t testing.TB, s *rival.Solver, lp []byte) rival.Answer {
	t.Helper()
	a, err := s.Solve(context.Background(), lp, t.TempDir(), 60)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func stageText(t testing.TB, p *Problem, r *Result, stage int) []byte {
	t.Helper()
	var earlier []int64
	for _, l := range r.Levels {
		earlier = append(earlier, l.Value)
	}
	var b bytes.Buffer
	if err := WriteLP(&b, p, stage, earlier[:stage-1]); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Every stage of random cycles of all sizes and tightnesses, solved by somebody
// else's code, has the value that Solve proves: 200 cycles in CI, fewer elsewhere.
func TestStagesAgreeWithOtherSolvers(t *testing.T) {
	cycles := 12
	if os.Getenv("CI") == "true" {
		cycles = 200
	}
	cycles = longer.Count(t, "BOWROLL_ALLOCATION_CYCLES", cycles)
	for _, o := range []*rival.Solver{rival.Cbc(), rival.Glpsol()} {
		t.Run(o.Name, func(t *testing.T) {
			need(t, o)
			agreed, late := 0, 0
			for c := range cycles {
				tight := Tightnesses[c%len(Tightnesses)]
				n, lots := 6+c%25, 2+c%5
				p := Generate(uint64(c), n, lots, tight)
				r, err := Solve(context.Background(), p, Options{})
				if err != nil || r.Status != Optimal {
					t.Fatalf("cycle %d: %v %v", c, r, err)
				}
				for stage := 1; stage <= Stages(p); stage++ {
					a := ask(t, o, stageText(t, p, r, stage))
					if !a.Decided {
						late++
						continue
					}
					agreed++
					if want := r.Levels[stage-1].Value; a.Value != want {
						t.Errorf("cycle %d (%d sorties, %d lots, %v) stage %d: %s says %d, we say %d", c, n, lots, tight, stage, o.Name, a.Value, want)
					}
				}
			}
			t.Logf("%d stages agree, %d not decided by %s in its time", agreed, late, o.Name)
			if late > agreed/20 {
				t.Errorf("%s decided too few stages to mean anything", o.Name)
			}
		})
	}
}

// The same with everything that a problem can have in it: sites, transfers,
// groups, reserves, sorties that must launch, an earlier plan to keep.
func TestStagesOfOddProblemsAgreeWithOtherSolvers(t *testing.T) {
	o := rival.Cbc()
	need(t, o)
	cycles := uint64(25)
	if os.Getenv("CI") == "true" {
		cycles = 250
	}
	for seed := range cycles {
		p := tiny(rand.New(rand.NewPCG(seed, 7)))
		r, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.Status == Infeasible {
			var b bytes.Buffer
			if err := WriteLP(&b, p, 1, nil); err != nil {
				t.Fatal(err)
			}
			if a := ask(t, o, b.Bytes()); a.Decided {
				t.Errorf("seed %d: %s finds %d where nothing is feasible", seed, o.Name, a.Value)
			}
			continue
		}
		for stage := 1; stage <= Stages(p); stage++ {
			a := ask(t, o, stageText(t, p, r, stage))
			if want := r.Levels[stage-1].Value; !a.Decided || a.Value != want {
				t.Errorf("seed %d stage %d: %s says %+v, we say %d", seed, stage, o.Name, a, want)
			}
		}
	}
}

func TestWriteLPWantsAStageAndItsPast(t *testing.T) {
	p := Generate(1, 5, 2, Medium)
	for _, stage := range []int{0, 5, 3} {
		if err := WriteLP(&bytes.Buffer{}, p, stage, []int64{1}); err == nil {
			t.Errorf("stage %d with one earlier value: no error", stage)
		}
	}
}
