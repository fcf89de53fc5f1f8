package perf_test

import (
	"testing"

	"bowroll/perf"
)

// Who changes the version says why, and none is told of twice.
func TestEveryVersionIsTold(t *testing.T) {
	all := perf.Versions()
	if len(all) == 0 || all[0].Version != perf.ModelVersion {
		t.Fatalf("the newest version told of is not %s", perf.ModelVersion)
	}
	seen := map[string]bool{}
	for _, v := range all {
		if seen[v.Version] || v.Date == "" || len(v.Changes) == 0 {
			t.Errorf("version %q of %q: told before %t, %d changes", v.Version, v.Date, seen[v.Version], len(v.Changes))
		}
		seen[v.Version] = true
	}
}
