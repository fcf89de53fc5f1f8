package postgres_test

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"bowroll/server/store"
	"bowroll/server/store/postgres"
	"bowroll/server/store/storetest"
)

var schemas atomic.Int64

// database returns the address of an empty schema of the test's own. Without a
// server the test is skipped; in CI there has to be one.
func database(t testing.TB) string {
	t.Helper()
	address := os.Getenv("BOWROLL_TEST_POSTGRES")
	if address == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("BOWROLL_TEST_POSTGRES is not set: in CI these tests have to run")
		}
		t.Skip("no PostgreSQL: set BOWROLL_TEST_POSTGRES to an address like postgres://user@127.0.0.1/database")
	}
	ctx := context.Background()
	schema := fmt.Sprintf("test_%d_%d", time.Now().UnixNano(), schemas.Add(1))
	run := func(statement string) {
		conn, err := pgx.Connect(ctx, address)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(ctx)
		if _, err := conn.Exec(ctx, statement); err != nil {
			t.Fatal(err)
		}
	}
	run("CREATE SCHEMA " + schema)
	t.Cleanup(func() { run("DROP SCHEMA " + schema + " CASCADE") })
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", schema)
	u.RawQuery = q.Encode()
	return u.String()
}

func open(t testing.TB, address string, options postgres.Options) *postgres.Store {
	t.Helper()
	s, err := postgres.Open(context.Background(), address, options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

var tester = storetest.TesterFunc(func(t testing.TB) store.Store { return open(t, database(t), postgres.Options{}) })

func TestConformance(t *testing.T) { storetest.Run(t, tester) }

func TestModel(t *testing.T) { storetest.Model(t, tester) }

func TestFailEachCall(t *testing.T) { storetest.FailEachCall(t, tester) }

func TestLinearizable(t *testing.T) {
	each := 60
	if testing.Short() {
		each = 20
	}
	history := storetest.Linearizable(t, tester, 32, each, 1)
	forged, ok := storetest.Forge(history)
	if !ok {
		t.Fatal("nobody was refused: the clients never met")
	}
	if storetest.CheckHistory(forged) {
		t.Error("a forged double promise was not found")
	}
}

// Two services over one database: what one acknowledges, the other sees, and
// neither starts on a schema that is newer than it.
func TestTwoServices(t *testing.T) {
	address := database(t)
	one, two := open(t, address, postgres.Options{}), open(t, address, postgres.Options{})
	storetest.Linearizable(t, storetest.TesterFunc(func(testing.TB) store.Store {
		return &alternating{stores: []store.Store{one, two}}
	}), 16, 20, 2)
	conn, err := pgx.Connect(context.Background(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(context.Background(), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (999, true)`); err != nil {
		t.Fatal(err)
	}
	_, err = postgres.Open(context.Background(), address, postgres.Options{})
	if !store.Is(err, store.Newer) {
		t.Errorf("a newer schema: %v", err)
	}
	if _, err := conn.Exec(context.Background(), `UPDATE movements SET reason = 'nothing happened'`); err == nil || !strings.Contains(err.Error(), "never") {
		t.Errorf("the past was edited: %v", err)
	}
}

// alternating sends every other call to the other service.
type alternating struct {
	stores []store.Store
	turn   atomic.Int64
}

func (a *alternating) pick() store.Store {
	return a.stores[a.turn.Add(1)%int64(len(a.stores))]
}

func (a *alternating) Update(ctx context.Context, site string, request store.Request, change store.Change) ([]byte, bool, error) {
	return a.pick().Update(ctx, site, request, change)
}

func (a *alternating) View(ctx context.Context, site string, read func(context.Context, store.Reader) error) error {
	return a.pick().View(ctx, site, read)
}

func (a *alternating) Sites(ctx context.Context) ([]string, error) { return a.pick().Sites(ctx) }
func (a *alternating) Check(ctx context.Context) error             { return a.pick().Check(ctx) }
func (a *alternating) Close() error                                { return nil }

func TestAddressAtFault(t *testing.T) {
	for address, class := range map[string]store.Class{
		"postgres://127.0.0.1:1/none?connect_timeout=2": store.Unavailable,
		"postgres://%zz": store.Invalid,
	} {
		_, err := postgres.Open(context.Background(), address, postgres.Options{})
		if !store.Is(err, class) {
			t.Errorf("%s: %v (%s)", address, err, store.ClassOf(err))
		}
	}
}

// The long form of TestLinearizable: 16 clients, 1,000 calls each, three seeds.
func TestLinearizableLong(t *testing.T) {
	if os.Getenv("BOWROLL_LINEAR_LONG") == "" {
		t.Skip("set BOWROLL_LINEAR_LONG to run it: it takes minutes")
	}
	for seed := range uint64(3) {
		storetest.Linearizable(t, tester, 16, 1000, seed)
	}
}
