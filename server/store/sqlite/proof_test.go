package sqlite_test

import (
	"os"
	"testing"

	"bowroll/server/store/sqlite"
	"bowroll/server/store/storetest"
)

func TestModel(t *testing.T) {
	drivers(t, func(t *testing.T, driver string) {
		if driver != "sqlite3" && (testing.Short() || os.Getenv("CI") != "true") {
			t.Skip("the second driver takes its random walks in CI")
		}
		storetest.Model(t, tester(sqlite.Options{Driver: driver}))
	})
}

func TestLinearizable(t *testing.T) {
	each := 60
	if testing.Short() {
		each = 20
	}
	history := storetest.Linearizable(t, tester(sqlite.Options{}), 32, each, 1)
	t.Logf("%d calls of 32 clients", len(history))
	// The checker is checked: one forged success must be found.
	forged, ok := storetest.Forge(history)
	if !ok {
		t.Fatal("nobody was refused: the clients never met")
	}
	if storetest.CheckHistory(forged) {
		t.Error("a forged double promise was not found")
	}
}

func TestFailEachCall(t *testing.T) {
	drivers(t, func(t *testing.T, driver string) {
		storetest.FailEachCall(t, tester(sqlite.Options{Driver: driver}))
	})
}

// The long form of TestLinearizable: 16 clients, 1,000 calls each, three seeds.
func TestLinearizableLong(t *testing.T) {
	if os.Getenv("BOWROLL_LINEAR_LONG") == "" {
		t.Skip("set BOWROLL_LINEAR_LONG to run it: it takes minutes")
	}
	for seed := range uint64(3) {
		storetest.Linearizable(t, tester(sqlite.Options{}), 16, 1000, seed)
	}
}
