package postgres_test

import (
	"context"
	"path/filepath"
	"testing"

	_ "modernc.org/sqlite" // the second driver, "sqlite"

	"bowroll/server/store/postgres"
	"bowroll/server/store/sqlite"
	"bowroll/server/store/storetest"
	"bowroll/testdata/longer"
)

// TestStoresAnswerAlike runs the same random lists of commands on PostgreSQL and
// on SQLite with two drivers: a few, or as many as BOWROLL_ALIKE_LISTS says.
func TestStoresAnswerAlike(t *testing.T) {
	stores := []storetest.Named{{Name: "postgres", Store: open(t, database(t), postgres.Options{})}}
	for _, driver := range []string{"sqlite3", "sqlite"} {
		s, err := sqlite.Open(context.Background(), filepath.Join(t.TempDir(), "bowroll.db"), sqlite.Options{Driver: driver})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		stores = append(stores, storetest.Named{Name: driver, Store: s})
	}
	storetest.Alike(t, longer.Count(t, "BOWROLL_ALIKE_LISTS", 20), stores...)
}
