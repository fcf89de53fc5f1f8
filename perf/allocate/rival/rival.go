// Package rival runs independent solvers on LP files, for tests and benchmarks of
// the allocation: cbc (Debian package coinor-cbc) and glpsol (glpk-utils). Nothing
// that answers a user depends on it.
package rival

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// ErrAbsent says that a solver is not on this machine.
var ErrAbsent = errors.New("not installed (Debian packages coinor-cbc, glpk-utils)")

// A Solver is a program that reads CPLEX-LP text.
type Solver struct {
	Name  string
	args  func(in, out, seconds string) []string
	value func(out string) string // of the optimum; empty if there is none
}

var (
	cbcValue    = regexp.MustCompile(`^Optimal - objective value ([-+0-9.e]+)`)
	glpsolValue = regexp.MustCompile(`Objective:\s+obj = ([-+0-9.e]+)`)
)

// Cbc is the stronger of the two on these problems.
func Cbc() *Solver {
	return &Solver{"cbc", func(in, out, seconds string) []string {
		return []string{in, "-ratioGap", "0", "-allowableGap", "0", "-seconds", seconds, "-solve", "-solu", out}
	}, func(out string) string { return group(cbcValue, out) }}
}

// Glpsol shares no code with Cbc.
func Glpsol() *Solver {
	return &Solver{"glpsol", func(in, out, seconds string) []string {
		return []string{"--lp", in, "--cuts", "--tmlim", seconds, "-o", out}
	}, func(out string) string {
		if !strings.Contains(out, "INTEGER OPTIMAL") {
			return ""
		}
		return group(glpsolValue, out)
	}}
}

func group(e *regexp.Regexp, s string) string {
	if m := e.FindStringSubmatch(s); m != nil {
		return m[1]
	}
	return ""
}

// Find returns ErrAbsent where the solver cannot be run.
func (s *Solver) Find() error {
	if _, err := exec.LookPath(s.Name); err != nil {
		return fmt.Errorf("%s: %w", s.Name, ErrAbsent)
	}
	return nil
}

// An Answer is what a solver says about a file.
type Answer struct {
	// Value of the optimum, without its sign: solvers differ in how they count a
	// maximum, and no level of the objective is negative in files they are given.
	Value   int64
	Decided bool // false if time ran out, or nothing is feasible
	Took    time.Duration
}

// Solve gives LP text to the solver, which may take so many seconds, using files in
// folder.
func (s *Solver) Solve(ctx context.Context, lp []byte, folder string, seconds int) (Answer, error) {
	in, out := filepath.Join(folder, "stage.lp"), filepath.Join(folder, "stage.out")
	if err := os.WriteFile(in, lp, 0o600); err != nil {
		return Answer{}, err
	}
	start := time.Now()
	text, err := exec.CommandContext(ctx, s.Name, s.args(in, out, strconv.Itoa(seconds))...).CombinedOutput()
	a := Answer{Took: time.Since(start)}
	if err != nil {
		return a, fmt.Errorf("%s: %w\n%s", s.Name, err, text)
	}
	answer, err := os.ReadFile(out)
	if err != nil {
		return a, fmt.Errorf("%s wrote no answer: %w", s.Name, err)
	}
	v, err := strconv.ParseFloat(s.value(string(answer)), 64)
	if err != nil {
		return a, nil
	}
	a.Value, a.Decided = int64(math.Round(math.Abs(v))), true
	return a, nil
}
