package violation_test

import (
	"errors"
	"math"
	"testing"

	"bowroll/perf/violation"
)

func TestListGathersAndNests(t *testing.T) {
	var inner violation.List
	if inner.Err() != nil {
		t.Error("an empty list is an error")
	}
	inner.Range("temperature_c", math.NaN(), -80, 60, "")
	inner.Positive("span_m", math.Inf(1), "")
	inner.NotNegative("cd0", -0.1, "")
	inner.Finite("elevation_m", math.Inf(-1), "")
	if !inner.Range("oswald", 0.8, 0, 1, "") || !inner.Positive("span_m", 1, "") ||
		!inner.NotNegative("cd0", 0, "") || !inner.Finite("elevation_m", -3, "") {
		t.Error("a sound value is refused")
	}
	var outer violation.List
	outer.Nest("aircraft", inner.Err())
	outer.Nest("aircraft", nil)
	outer.Nest("air", errors.New("no air"))
	want := []string{"aircraft.temperature_c", "aircraft.span_m", "aircraft.cd0", "aircraft.elevation_m", "air"}
	if len(outer) != len(want) {
		t.Fatalf("%d violations, want %d:\n%v", len(outer), len(want), outer)
	}
	for i := range want {
		if outer[i].Field != want[i] {
			t.Errorf("violation %d is of %s, want %s", i, outer[i].Field, want[i])
		}
	}
	const line = "aircraft.cd0 is -0.1: must be a finite number of at least 0"
	if got := outer[2].Error(); got != line {
		t.Errorf("got %q, want %q", got, line)
	}
}
