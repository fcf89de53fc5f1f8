package sqlite_test

import (
	"context"
	"path/filepath"
	"testing"

	_ "modernc.org/sqlite" // the second driver, "sqlite"

	"bowroll/server/store"
	"bowroll/server/store/sqlite"
	"bowroll/server/store/storetest"
)

// open opens a store that is closed when the test ends.
func open(t testing.TB, path string, options sqlite.Options) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(context.Background(), path, options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func drivers(t *testing.T, run func(t *testing.T, driver string)) {
	for _, driver := range []string{"sqlite3", "sqlite"} {
		t.Run(map[string]string{"sqlite3": "ncruces", "sqlite": "modernc"}[driver], func(t *testing.T) { run(t, driver) })
	}
}

func tester(options sqlite.Options) storetest.Tester {
	return storetest.TesterFunc(func(t testing.TB) store.Store {
		return open(t, filepath.Join(t.TempDir(), "bowroll.db"), options)
	})
}

func TestConformance(t *testing.T) {
	drivers(t, func(t *testing.T, driver string) {
		storetest.Run(t, tester(sqlite.Options{Driver: driver}))
	})
	t.Run("one connection", func(t *testing.T) {
		storetest.Run(t, tester(sqlite.Options{Exclusive: true}))
	})
}
