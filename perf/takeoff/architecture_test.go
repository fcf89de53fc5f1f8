package takeoff_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"bowroll/perf/takeoff"
	"bowroll/perf/vectors"
)

var update = flag.Bool("update", false, "write testdata/architecture.txt anew")

// departures are what the reference cases are varied by, so that more than they
// themselves are compared. The sums are exact: no architecture rounds them
// otherwise.
var departures = []struct{ headwindMPS, massKG, delayS float64 }{
	{0, 0, 0}, {3, 0, 1}, {-2, 64, 0}, {1, 128, 2}, {8, -32, 0.5},
}

// Every architecture gives the numbers written on another one to the bit: time,
// distance and airspeed of the roll, where a stop ends, the air distance, and the
// roll at the best firing. The file was written on linux/amd64.
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
	got, written := strings.Split(string(out), "\n"), strings.Split(string(want), "\n")
	if len(got) != len(written) {
		t.Fatalf("%d take-offs where %d were written", len(got), len(written))
	}
	for i := range got {
		if got[i] != written[i] {
			t.Errorf("%s\nwhere this was written:\n%s", got[i], written[i])
		}
	}
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
