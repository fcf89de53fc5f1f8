package sqlite_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bowroll/server/store/sqlite"
	"bowroll/server/store/storetest"
)

// TestReleasedDatabases opens a database of each released schema, which brings it
// up to this program's, and looks for everything that was in it. With
// UPDATE_GOLDEN set to the number of a schema that is not released yet, it makes
// the database of that schema; those of released ones are never made anew.
func TestReleasedDatabases(t *testing.T) {
	if version := os.Getenv("UPDATE_GOLDEN"); version != "" {
		makeGolden(t, filepath.Join("testdata", "schema-"+version+".db"))
	}
	files, err := filepath.Glob("testdata/schema-*.db")
	if err != nil || len(files) == 0 {
		t.Fatalf("no databases in testdata: %v", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			golden, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), "bowroll.db")
			if err := os.WriteFile(path, golden, 0o600); err != nil {
				t.Fatal(err)
			}
			want, err := os.ReadFile(strings.TrimSuffix(file, ".db") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			for range 2 { // once brought up to date, and once as it is then
				s := open(t, path, sqlite.Options{})
				if got := storetest.Describe(t, s); got != string(want) {
					t.Errorf("it holds\n%s\nand held\n%s", got, want)
				}
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

func makeGolden(t *testing.T, file string) {
	s := open(t, filepath.Join(t.TempDir(), "bowroll.db"), sqlite.Options{})
	storetest.Fill(t, s)
	if err := s.Backup(context.Background(), file); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(strings.TrimSuffix(file, ".db")+".txt", []byte(storetest.Describe(t, s)), 0o644); err != nil {
		t.Fatal(err)
	}
}
