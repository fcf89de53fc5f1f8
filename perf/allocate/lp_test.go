package allocate

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
)

// An oracle is an independent solver of LP files.
type oracle struct {
	name string
	args func(in, out string) []string
	read func(out string) (value float64, optimal bool)
}

var number = `([-+]?[0-9.]+(?:e[-+]?[0-9]+)?)`

var oracles = []oracle{
	{"cbc", func(in, out string) []string {
		return []string{in, "-ratioGap", "0", "-allowableGap", "0", "-seconds", "60", "-solve", "-solu", out}
	}, func(out string) (float64, bool) {
		m := regexp.MustCompile(`^Optimal - objective value ` + number).FindStringSubmatch(out)
		return parse(m)
	}},
	{"glpsol", func(in, out string) []string {
		return []string{"--lp", in, "--cuts", "--tmlim", "20", "-o", out}
	}, func(out string) (float64, bool) {
		if !strings.Contains(out, "INTEGER OPTIMAL") {
			return 0, false
		}
		return parse(regexp.MustCompile(`Objective:\s+obj = ` + number).FindStringSubmatch(out))
	}},
}

func parse(m []string) (float64, bool) {
	if m == nil {
		return 0, false
	}
	v, err := strconv.ParseFloat(m[1], 64)
	return v, err == nil
}

// solve runs the oracle on LP text; decided is false where its time ran out.
func (o *oracle) solve(t testing.TB, lp []byte) (value int64, decided bool, took time.Duration) {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "stage.lp"), filepath.Join(dir, "stage.out")
	if err := os.WriteFile(in, lp, 0o600); err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	if text, err := exec.Command(o.name, o.args(in, out)...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", o.name, err, text)
	}
	took = time.Since(start)
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatalf("%s wrote no answer: %v", o.name, err)
	}
	v, ok := o.read(string(text))
	if v < 0 {
		v = -v // cbc reports the value of a maximum negated in some versions
	}
	return int64(v + 0.5), ok, took
}

// need skips without the oracle, except in CI, where it has to be there.
func (o *oracle) need(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath(o.name); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is not installed (Debian packages coinor-cbc, glpk-utils)", o.name)
		}
		t.Skipf("%s is not installed (Debian packages coinor-cbc, glpk-utils)", o.name)
	}
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
	for _, o := range oracles {
		t.Run(o.name, func(t *testing.T) {
			o.need(t)
			agreed, late := 0, 0
			for c := range cycles {
				tight := Tightnesses[c%len(Tightnesses)]
				n, lots := 6+c%13, 2+c%3
				p := Generate(uint64(c), n, lots, tight)
				r, err := Solve(context.Background(), p, Options{})
				if err != nil || r.Status != Optimal {
					t.Fatalf("cycle %d: %v %v", c, r, err)
				}
				for stage := 1; stage <= Stages(p); stage++ {
					got, decided, _ := o.solve(t, stageText(t, p, r, stage))
					if !decided {
						late++
						continue
					}
					agreed++
					if want := r.Levels[stage-1].Value; got != want {
						t.Errorf("cycle %d (%d sorties, %d lots, %v) stage %d: %s says %d, we say %d", c, n, lots, tight, stage, o.name, got, want)
					}
				}
			}
			t.Logf("%d stages agree, %d not decided by %s in its time", agreed, late, o.name)
			if late > agreed/20 {
				t.Errorf("%s decided too few stages to mean anything", o.name)
			}
		})
	}
}

// The same with everything that a problem can have in it: sites, transfers,
// groups, reserves, sorties that must launch, an earlier plan to keep.
func TestStagesOfOddProblemsAgreeWithOtherSolvers(t *testing.T) {
	o := oracles[0]
	o.need(t)
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
			if v, decided, _ := o.solve(t, b.Bytes()); decided {
				t.Errorf("seed %d: %s finds %d where nothing is feasible", seed, o.name, v)
			}
			continue
		}
		for stage := 1; stage <= Stages(p); stage++ {
			got, decided, _ := o.solve(t, stageText(t, p, r, stage))
			if want := r.Levels[stage-1].Value; !decided || got != want {
				t.Errorf("seed %d stage %d: %s says %d (decided: %v), we say %d", seed, stage, o.name, got, decided, want)
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

func BenchmarkBesideCbc(b *testing.B) {
	o := oracles[0]
	o.need(b)
	for _, tight := range Tightnesses {
		b.Run(fmt.Sprint("40x6-", tight), func(b *testing.B) {
			var ours, theirs time.Duration
			for n := 0; b.Loop(); n++ {
				p := Generate(uint64(n), 40, 6, tight)
				start := time.Now()
				r, err := Solve(context.Background(), p, Options{})
				ours += time.Since(start)
				if err != nil {
					b.Fatal(err)
				}
				for stage := 1; stage <= Stages(p); stage++ {
					_, _, took := o.solve(b, stageText(b, p, r, stage))
					theirs += took
				}
			}
			b.ReportMetric(float64(theirs)/float64(ours), "x-cbc")
			b.ReportMetric(float64(ours.Microseconds())/float64(b.N)/1000, "ms/cycle")
		})
	}
}
