package postgres_test

import (
	"context"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"bowroll/server/store/postgres"
	"bowroll/server/store/storetest"
)

// dumpedSchema is the schema of PostgreSQL that the dumps in testdata are of.
const dumpedSchema = "released_schema"

// TestReleasedDatabases restores the dump of each released schema and opens it,
// which brings it up to this program's, and looks for everything that was in it.
// With UPDATE_GOLDEN set to the number of a schema that is not released yet, it
// makes the dump of that schema; those of released ones are never made anew.
func TestReleasedDatabases(t *testing.T) {
	if version := os.Getenv("UPDATE_GOLDEN"); version != "" {
		makeGolden(t, filepath.Join("testdata", "schema-"+version+".sql"))
	}
	files, err := filepath.Glob("testdata/schema-*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("no dumps in testdata: %v", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			address := restore(t, file)
			want, err := os.ReadFile(strings.TrimSuffix(file, ".sql") + ".txt")
			if err != nil {
				t.Fatal(err)
			}
			for range 2 { // once brought up to date, and once as it is then
				s := open(t, address, postgres.Options{})
				if got := storetest.Describe(t, s); got != string(want) {
					t.Errorf("it holds\n%s\nand held\n%s", got, want)
				}
				if err := s.Close(); err != nil {
					t.Fatal(err)
				}
			}
			if got, head := schemaOf(t, address), newestSchema(t); got != head {
				t.Errorf("schema %d, and the head is %d", got, head)
			}
		})
	}
}

// restore makes a schema of the test's own from a dump and returns its address.
func restore(t *testing.T, file string) (address string) {
	t.Helper()
	address = database(t)
	dump, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(string(dump), "CREATE SCHEMA "+dumpedSchema+";", "")
	execute(t, address, strings.ReplaceAll(text, dumpedSchema+".", u.Query().Get("search_path")+"."))
	return address
}

// execute runs statements on a connection of their own.
func execute(t *testing.T, address, statements string) {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.PgConn().Exec(context.Background(), statements).ReadAll(); err != nil {
		t.Fatal(err)
	}
}

// schemaOf reads which version of the schema a database has.
func schemaOf(t *testing.T, address string) (version int) {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if err := conn.QueryRow(context.Background(), `SELECT max(version_id) FROM goose_db_version`).Scan(&version); err != nil {
		t.Fatal(err)
	}
	return version
}

// newestSchema is the version that this program makes.
func newestSchema(t *testing.T) int {
	t.Helper()
	address := database(t)
	s := open(t, address, postgres.Options{})
	defer s.Close()
	return schemaOf(t, address)
}

// meta matches the lines of a dump that are for psql alone.
var meta = regexp.MustCompile(`(?m)^\\.*\n`)

func makeGolden(t *testing.T, file string) {
	execute(t, database(t), "CREATE SCHEMA "+dumpedSchema)
	t.Cleanup(func() { execute(t, os.Getenv("BOWROLL_TEST_POSTGRES"), "DROP SCHEMA "+dumpedSchema+" CASCADE") })
	u, err := url.Parse(os.Getenv("BOWROLL_TEST_POSTGRES"))
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", dumpedSchema)
	u.RawQuery = q.Encode()
	s := open(t, u.String(), postgres.Options{})
	storetest.Fill(t, s)
	if err := os.WriteFile(strings.TrimSuffix(file, ".sql")+".txt", []byte(storetest.Describe(t, s)), 0o644); err != nil {
		t.Fatal(err)
	}
	dump, err := exec.Command("pg_dump", os.Getenv("BOWROLL_TEST_POSTGRES"), "--schema", dumpedSchema, "--inserts", "--no-owner", "--no-privileges").Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, meta.ReplaceAll(dump, nil), 0o644); err != nil {
		t.Fatal(err)
	}
}
