package takeoff_test

import (
	"bytes"
	"flag"
	"fmt"
	"math"
	"os"
	"testing"

	"bowroll/perf/takeoff"
	"bowroll/perf/vectors"
)

var update = flag.Bool("update", false, "write testdata/architecture.txt anew")

// architectureValues are the numbers of one line of the file: time, distance and
// airspeed of the roll, where a stop ends, the air distance, and the roll at the
// best firing.
const architectureValues = 6

// departures are what the reference cases are varied by, so that more than they
// themselves are compared. The sums are exact: no architecture rounds them
// otherwise.
var departures = []struct{ headwindMPS, massKG, delayS float64 }{
	{0, 0, 0}, {3, 0, 1}, {-2, 64, 0}, {1, 128, 2}, {8, -32, 0.5},
}

// Every architecture gives the numbers written on another one: to 1e-12
// relative, and the ground run to the bit wherever the elementary functions of
// package math agree. The file was written on linux/amd64.
func TestArchitecturesAgree(t *testing.T) {
	out := architectureLines(t)
	const golden = "testdata/architecture.txt"
	if *update {
		if err := os.WriteFile(golden, out, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	got, written := bytes.Split(bytes.TrimSpace(out), []byte("\n")), bytes.Split(bytes.TrimSpace(want), []byte("\n"))
	if len(got) != len(written) {
		t.Fatalf("%d take-offs where %d were written", len(got), len(written))
	}
	exact, worst := 0, 0.0
	for i := range got {
		id, values := architectureLine(t, got[i])
		wroteID, wrote := architectureLine(t, written[i])
		if id != wroteID {
			t.Fatalf("%s where %s was written", id, wroteID)
		}
		for k, value := range values {
			off := math.Abs(value - wrote[k])
			if off == 0 {
				exact++
				continue
			}
			worst = max(worst, off/math.Abs(wrote[k]))
			if off > 1e-12*math.Abs(wrote[k]) {
				t.Errorf("%s, number %d: %.17g, written %.17g", id, k+1, value, wrote[k])
			}
		}
	}
	t.Logf("%d take-offs, %d of %d numbers the same to the bit, the rest within %.1g", len(got), exact, architectureValues*len(got), worst)
}

// architectureLines computes the file.
func architectureLines(t *testing.T) []byte {
	t.Helper()
	file, err := os.Open("../../testdata/vectors/takeoff.json")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	list, err := vectors.Read(file)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	for i := range list {
		for k, by := range departures {
			s, f, err := list[i].Case.Setting()
			if err != nil {
				t.Fatal(err)
			}
			s.HeadwindMPS += by.headwindMPS
			s.GrossMassKG += by.massKG
			if f.Mode == takeoff.Rolling {
				f.DelayS += by.delayS
			}
			runner, schedule, roll := rollOf(t, s, f)
			stop := runner.Stop(schedule, runner.RollFor(schedule, 0.6*roll.TimeS), 1)
			air := takeoff.AirDistance{}
			if roll.LiftsOff {
				air = runner.AirDistance(schedule, roll, list[i].Case.ScreenM)
			}
			best := roll
			if len(s.Units) > 0 {
				best = runner.BestFiring(schedule, s.Units, takeoff.FiringSearch{Measure: takeoff.ByRoll, Brakes: true, ReactionS: 0.5}).Roll
			}
			fmt.Fprintf(&out, "%s/%d %.17g %.17g %.17g %.17g %.17g %.17g\n", list[i].ID, k,
				roll.TimeS, roll.DistanceM, roll.AirspeedMPS, stop.End.DistanceM, air.DistanceM, best.DistanceM)
		}
	}
	return out.Bytes()
}

func architectureLine(t *testing.T, line []byte) (id string, v [architectureValues]float64) {
	t.Helper()
	if _, err := fmt.Sscan(string(line), &id, &v[0], &v[1], &v[2], &v[3], &v[4], &v[5]); err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	return id, v
}
