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

// Every architecture gives the numbers written on another one: to 1e-12
// relative, and the ground run to the bit wherever the elementary functions of
// package math agree. The file was written on linux/amd64.
func TestArchitecturesAgree(t *testing.T) {
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
		s, f, err := list[i].Case.Setting()
		if err != nil {
			t.Fatal(err)
		}
		runner, schedule, roll := rollOf(t, s, f)
		stop := runner.Stop(schedule, runner.RollFor(schedule, 0.6*roll.TimeS), 1)
		air := takeoff.AirDistance{}
		if roll.LiftsOff {
			air = runner.AirDistance(schedule, roll, list[i].Case.ScreenM)
		}
		fmt.Fprintf(&out, "%s %.17g %.17g %.17g %.17g %.17g\n", list[i].ID,
			roll.TimeS, roll.DistanceM, roll.AirspeedMPS, stop.End.DistanceM, air.DistanceM)
	}
	const golden = "testdata/architecture.txt"
	if *update {
		if err := os.WriteFile(golden, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(out.Bytes(), want) {
		return
	}
	var got, expected struct {
		id     string
		values [5]float64
	}
	a, b := bytes.NewReader(out.Bytes()), bytes.NewReader(want)
	for range list {
		for _, row := range []struct {
			from *bytes.Reader
			id   *string
			v    *[5]float64
		}{{a, &got.id, &got.values}, {b, &expected.id, &expected.values}} {
			v := row.v
			if _, err := fmt.Fscanln(row.from, row.id, &v[0], &v[1], &v[2], &v[3], &v[4]); err != nil {
				t.Fatal(err)
			}
		}
		if got.id != expected.id {
			t.Fatalf("%s where %s was written", got.id, expected.id)
		}
		for i, value := range got.values {
			if off := math.Abs(value - expected.values[i]); off > 1e-12*math.Abs(expected.values[i]) {
				t.Errorf("%s, number %d: %.17g, written %.17g", got.id, i+1, value, expected.values[i])
			}
		}
	}
}
