package calibrate_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"testing"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/calibrate"
	"bowroll/perf/takeoff"
)

var update = flag.Bool("update", false, "write testdata/architecture.json anew")

// Every architecture makes the fit written on another one, to the bit. The file
// was written on linux/amd64.
func TestArchitecturesFitAlike(t *testing.T) {
	pressure, temperature := 101325.0, 15.0
	day, err := air.At(air.Conditions{PressurePa: &pressure, TemperatureC: &temperature})
	if err != nil {
		t.Fatal(err)
	}
	// Inputs are sums and products that every processor rounds alike.
	var runs []calibrate.Run
	for i := range 24 {
		r := calibrate.Run{ID: fmt.Sprint("run-", i), Tail: fmt.Sprint("tail-", i%3), Deck: fmt.Sprint("deck-", i%2), Lot: "lot-1"}
		r.Setting = takeoff.Setting{
			Aircraft: gull(), GrossMassKG: float64(5000 + 64*(7*i%24)), Air: day, HeadwindMPS: float64(i % 8),
			Surface: takeoff.Surface{RollingFriction: 0.03125, BrakingFriction: 0.4},
		}
		for range 2 * (i % 3) {
			r.Setting.Units = append(r.Setting.Units, booster.Unit{Type: ember(), GrainTemperatureC: 15})
		}
		if len(r.Setting.Units) > 0 {
			r.Firing = takeoff.Firing{Mode: takeoff.Rolling, DelayS: 1}
		}
		r.Sigma = calibrate.DefaultSigma(r.Setting.GrossMassKG)
		runner, err := takeoff.NewRunner(r.Setting)
		if err != nil {
			t.Fatal(err)
		}
		var schedule booster.Schedule
		r.Firing.Schedule(&schedule, r.Setting.Units)
		roll := runner.Roll(&schedule)
		distance := roll.DistanceM * (1 + float64(5*i%16-8)/256)
		time := roll.TimeS * (1 + float64(3*i%16-8)/512)
		if i == 11 {
			distance *= 1.5
		}
		r.DistanceM, r.TimeS = &distance, &time
		runs = append(runs, r)
	}
	fit, err := calibrate.Make(context.Background(), runs, calibrate.DefaultSettings())
	if err != nil {
		t.Fatal(err)
	}
	residuals, err := calibrate.Residuals(context.Background(), runs)
	if err != nil {
		t.Fatal(err)
	}
	out, err := json.MarshalIndent(map[string]any{"fit": fit, "residuals": residuals}, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	const golden = "testdata/architecture.json"
	if *update {
		if err := os.WriteFile(golden, out, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if string(out) != string(want) {
		t.Errorf("another fit than was written:\n%s", out)
	}
}
