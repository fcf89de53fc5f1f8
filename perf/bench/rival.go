package main

import (
	"bytes"
	"context"
	"embed"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
)

// rivals are the sources of the programs measured beside the model.
//
//go:embed testdata/taylor.c testdata/rungekutta.c testdata/roll.py
var rivals embed.FS

// errNoRival says that a rival cannot run on this machine.
var errNoRival = errors.New("not on this machine")

// problem writes a run the way the rivals read it.
func problem(r *takeoff.Runner, s *booster.Schedule) []byte {
	e := r.Equation()
	var b bytes.Buffer
	pieces := e.Thrust.Pieces()
	first, last := e.Thrust.Ends()
	step := (pieces[len(pieces)-1].To - pieces[0].From) / float64(len(pieces))
	fmt.Fprintf(&b, "%.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g %d %d\n",
		e.GrossMassKG, e.HeadwindMPS, e.Mu, e.NormalG, e.SlopeG, e.DragK, e.LiftK, e.LiftoffSq,
		first, last, 1/step, len(pieces), len(s.Segments()))
	for _, p := range pieces {
		fmt.Fprintf(&b, "%.17g %.17g %.17g %.17g %.17g %.17g\n", p.From, p.To, p.C[0], p.C[1], p.C[2], p.C[3])
	}
	for _, g := range s.Segments() {
		fmt.Fprintf(&b, "%.17g %.17g %.17g %.17g %.17g %.17g %.17g %.17g\n", g.StartS,
			g.ForwardN, g.ForwardNPS, g.UpwardN, g.UpwardNPS, g.MassKG, g.MassKGPS, g.MassKGPS2)
	}
	return b.Bytes()
}

// outcome is what a rival prints.
type outcome struct{ nanoseconds, distance, seconds float64 }

// ask runs a rival on a problem.
func ask(ctx context.Context, input []byte, name string, args ...string) (outcome, error) {
	command := exec.CommandContext(ctx, name, args...)
	command.Stdin = bytes.NewReader(input)
	command.Stderr = os.Stderr
	out, err := command.Output()
	if err != nil {
		return outcome{}, fmt.Errorf("%s: %w", name, err)
	}
	fields := strings.Fields(string(out))
	if len(fields) != 3 {
		return outcome{}, fmt.Errorf("%s printed %q, want three numbers", name, out)
	}
	var o outcome
	for i, at := range []*float64{&o.nanoseconds, &o.distance, &o.seconds} {
		if *at, err = strconv.ParseFloat(fields[i], 64); err != nil {
			return outcome{}, fmt.Errorf("%s: %w", name, err)
		}
	}
	return o, nil
}

// buildC compiles a rival in C into folder.
func buildC(ctx context.Context, folder, name string) (program string, err error) {
	cc, err := exec.LookPath("cc")
	if err != nil {
		return "", fmt.Errorf("no C compiler: %w", errNoRival)
	}
	source, err := unpack(folder, name+".c")
	if err != nil {
		return "", err
	}
	program = filepath.Join(folder, name)
	command := exec.CommandContext(ctx, cc, "-O3", "-march=native", "-o", program, source, "-lm")
	command.Stderr = os.Stderr
	if err := command.Run(); err != nil {
		return "", fmt.Errorf("%s: %w", cc, err)
	}
	return program, nil
}

// debianPython is the interpreter that Debian's python3-scipy belongs to.
const debianPython = "/usr/bin/python3"

// findSciPy writes the rival in Python into folder.
func findSciPy(ctx context.Context, folder string) (script string, err error) {
	if err := exec.CommandContext(ctx, debianPython, "-c", "import scipy.integrate").Run(); err != nil {
		return "", fmt.Errorf("no python3-scipy: %w", errNoRival)
	}
	return unpack(folder, "roll.py")
}

func unpack(folder, name string) (string, error) {
	text, err := rivals.ReadFile("testdata/" + name)
	if err != nil {
		return "", err
	}
	path := filepath.Join(folder, name)
	return path, os.WriteFile(path, text, 0o600)
}
