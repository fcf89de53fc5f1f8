package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/assembly"
	"bowroll/testdata/longer"
)

// childArgs is the variable that makes the test binary be bowrolld, and
// childPoint the point of the store at which it then kills itself, with how many
// times it passes there first.
const (
	childArgs  = "BOWROLLD_TEST_ARGS"
	childPoint = "BOWROLLD_TEST_POINT"
)

// beChild runs bowrolld where this process was started to be it.
func beChild() bool {
	text, ok := os.LookupEnv(childArgs)
	if !ok {
		return false
	}
	var args []string
	if err := json.Unmarshal([]byte(text), &args); err != nil {
		panic(err)
	}
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	to := streams{out: os.Stdout, err: os.Stderr, at: dieAt(os.Getenv(childPoint))}
	os.Exit(runWith(ctx, args, func(string) (string, bool) { return "", false }, to))
	return true
}

// dieAt kills this process at a point named as "after commit:7": the seventh time
// it comes there. It is nil for no point.
func dieAt(text string) func(point string) {
	name, count, _ := strings.Cut(text, ":")
	left, err := strconv.ParseInt(count, 10, 64)
	if err != nil {
		return nil
	}
	var passed atomic.Int64
	return func(point string) {
		if point == name && passed.Add(1) >= left {
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
			select {} // the signal is on its way: nothing more is done here
		}
	}
}

// child is a bowrolld in a process of its own.
type child struct {
	cmd  *exec.Cmd
	conn *grpc.ClientConn
}

// startBowrolld starts one and waits until it is ready.
func startBowrolld(t *testing.T, store string) *child {
	t.Helper()
	c, said := launchBowrolld(t, store, "")
	if c == nil {
		t.Fatalf("bowrolld did not start: %s", said)
	}
	return c
}

// launchBowrolld starts one that dies at a point, if one is given. It returns nil
// and what was said where it ended before it was ready.
func launchBowrolld(t *testing.T, store, point string, more ...string) (*child, string) {
	t.Helper()
	args, err := json.Marshal(append([]string{"--grpc", "127.0.0.1:0", "--http", "", "--store", store, "--log-level", "info"}, more...))
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childArgs+"="+string(args), childPoint+"="+point)
	pipe, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	// A test that fails leaves none behind; one that was killed is gone already.
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	lines := bufio.NewScanner(pipe)
	said := ""
	for lines.Scan() {
		said += lines.Text() + "\n"
		var line struct{ Msg, Grpc string }
		if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "ready" {
			go func() {
				for lines.Scan() { // keep the pipe empty
				}
			}()
			conn, err := grpc.NewClient(line.Grpc, grpc.WithTransportCredentials(insecure.NewCredentials()))
			if err != nil {
				t.Fatal(err)
			}
			return &child{cmd: cmd, conn: conn}, said
		}
	}
	_ = cmd.Wait()
	return nil, said
}

// kill ends it as a power switch would.
func (c *child) kill() {
	_ = c.cmd.Process.Kill()
	_ = c.cmd.Wait()
	c.conn.Close()
}

// asked is one request and, where it came back, its answer.
type asked struct {
	call   func(context.Context, *grpc.ClientConn) (proto.Message, error)
	answer proto.Message
	// entries is how many entries of the log it makes.
	entries int
}

// client saves, confirms and cancels plans of one unit until a call fails.
func client(conn *grpc.ClientConn, name string) (done []asked) {
	ask := func(entries int, call func(context.Context, *grpc.ClientConn) (proto.Message, error)) proto.Message {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		answer, err := call(ctx, conn)
		if err != nil {
			answer = nil
		}
		done = append(done, asked{call: call, answer: answer, entries: entries})
		return answer
	}
	deadline := time.Now().Add(10 * time.Second)
	for n := 0; time.Now().Before(deadline); n++ {
		id := fmt.Sprintf("%s-%d", name, n)
		saved := ask(1, func(ctx context.Context, conn *grpc.ClientConn) (proto.Message, error) {
			return bowrollv1.NewPlansClient(conn).CreatePlan(ctx, killPlan(id))
		})
		if saved == nil {
			return done
		}
		etag := saved.(*bowrollv1.Plan).GetEtag()
		confirmed := ask(2, func(ctx context.Context, conn *grpc.ClientConn) (proto.Message, error) {
			return bowrollv1.NewPlansClient(conn).ConfirmPlan(ctx, &bowrollv1.ConfirmPlanRequest{
				Name: "sites/varrow/plans/" + id, Etag: etag, HoldUntilTime: timestamppb.New(holdUntil), Actor: "planner", RequestId: "confirm-" + id,
			})
		})
		if confirmed == nil {
			return done
		}
		if ask(2, cancel(id).call) == nil {
			return done
		}
	}
	return done
}

// cancel cancels a plan.
func cancel(id string) asked {
	return asked{entries: 2, call: func(ctx context.Context, conn *grpc.ClientConn) (proto.Message, error) {
		return bowrollv1.NewPlansClient(conn).CancelPlan(ctx, &bowrollv1.CancelPlanRequest{
			Name: "sites/varrow/plans/" + id, Reason: "fog", Actor: "planner", RequestId: "cancel-" + id,
		})
	}}
}

// holdUntil is late enough for any run of the test.
var holdUntil = time.Date(2051, 1, 1, 0, 0, 0, 0, time.UTC)

// builtInRevision is the revision of the catalog that comes with the program.
var builtInRevision = sync.OnceValue(func() string {
	conn, stop, err := assembly.InProcess(context.Background())
	if err != nil {
		panic(err)
	}
	defer stop()
	defer conn.Close()
	answer, err := bowrollv1.NewCatalogClient(conn).ExportCatalog(context.Background(), &bowrollv1.ExportCatalogRequest{})
	if err != nil {
		panic(err)
	}
	return answer.GetRevision()
})

func killPlan(id string) *bowrollv1.CreatePlanRequest {
	return &bowrollv1.CreatePlanRequest{
		Parent: "sites/varrow", PlanId: id, Actor: "planner", RequestId: "create-" + id,
		Cycle: &bowrollv1.Cycle{
			Id: "dawn", Deck: "sites/varrow/decks/main", StartTime: timestamppb.New(morning),
			Air:         &bowrollv1.Air{PressurePa: proto.Float64(101325), TemperatureC: proto.Float64(20)},
			NaturalWind: &bowrollv1.NaturalWind{FromDeg: proto.Float64(270), SpeedMps: proto.Float64(5)},
			Sorties: []*bowrollv1.Sortie{{
				Id: "heron-1", AircraftType: "aircraftTypes/halbrook", Flap: "takeoff", GrossMassKg: proto.Float64(4800), Spot: "s5",
				Priority: proto.Int32(1), LaunchS: proto.Float64(0),
			}},
			Lots: []*bowrollv1.Lot{{
				Id: "lot-01", BoosterType: "boosterTypes/emberlin-6", UsableCount: proto.Int32(1), GrainTemperatureC: proto.Float64(20), ExpireTime: timestamppb.New(holdUntil),
			}},
		},
		Answer: &bowrollv1.CyclePlan{
			Id:         "dawn",
			Launches:   []*bowrollv1.PlannedLaunch{{Sortie: "heron-1", Order: 1, Draws: []*bowrollv1.Draw{{Lot: "lot-01", UnitCount: 1}}}},
			Provenance: &bowrollv1.Provenance{ModelVersion: "1.0.0", CatalogRevision: builtInRevision(), RequestDigest: "sha256:1"},
		},
	}
}

// points are where bowrolld kills itself, one after the other; at "" it is killed
// from outside at a random instant.
var points = []string{"", "before commit", "", "after commit", "", "begin"}

// killCycles kills bowrolld under load and restarts it, again and again. After
// each restart every request of the cycle is sent again: what was acknowledged
// gets the very same answer, what was not is done now or was done; then the log
// holds exactly the entries of all requests, once.
func killCycles(t *testing.T, store string, cycles int, longest time.Duration) {
	random := rand.New(rand.NewPCG(11, 12))
	ctx := context.Background()
	for range 2 { // it dies over a store that it has just made, and makes nothing of it twice
		if early, _ := launchBowrolld(t, store, "migrated:1"); early != nil {
			t.Fatal("bowrolld passed the point where it had to die")
		}
	}
	c := startBowrolld(t, store)
	units := make([]string, 64)
	steps := []*bowrollv1.UnitStep{}
	for i := range units {
		units[i] = fmt.Sprintf("u-%03d", i)
	}
	for _, event := range []bowrollv1.UnitEvent{bowrollv1.UnitEvent_UNIT_EVENT_INSPECT, bowrollv1.UnitEvent_UNIT_EVENT_ACCEPT} {
		for _, unit := range units {
			steps = append(steps, &bowrollv1.UnitStep{Unit: unit, Event: event, Reason: "arrival"})
		}
	}
	stock := bowrollv1.NewStockClient(c.conn)
	if _, err := stock.CreateLot(ctx, &bowrollv1.CreateLotRequest{
		Parent: "sites/varrow", LotId: "lot-01", Units: units, Place: "mag-1", Reason: "note", Actor: "k", RequestId: "create-lot-01",
		Lot: &bowrollv1.StockLot{Kind: bowrollv1.LotKind_LOT_KIND_BOOSTER, Type: "boosterTypes/emberlin-6", ExpireTime: timestamppb.New(holdUntil)},
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := stock.MoveUnits(ctx, &bowrollv1.MoveUnitsRequest{Parent: "sites/varrow", Steps: steps, Actor: "k", RequestId: "accept-lot-01"}); err != nil {
		t.Fatal(err)
	}
	entries := 1 + 3*len(units)
	acknowledged, unknown, named := 0, 0, 0
	for cycle := range cycles {
		if point := points[cycle%len(points)]; point != "" {
			c.kill()
			if c, _ = launchBowrolld(t, store, fmt.Sprintf("%s:%d", point, 20+random.IntN(40))); c == nil {
				t.Fatalf("cycle %d: bowrolld died before it was ready", cycle)
			}
		}
		var (
			wait sync.WaitGroup
			lock sync.Mutex
			all  = map[string][]asked{}
		)
		for i := range 8 {
			wait.Go(func() {
				name := fmt.Sprintf("p%d-%d", cycle, i)
				done := client(c.conn, name)
				lock.Lock()
				defer lock.Unlock()
				all[name] = done
			})
		}
		if points[cycle%len(points)] == "" {
			time.Sleep(time.Duration(1 + random.Int64N(int64(longest))))
			c.kill()
		} else {
			_ = c.cmd.Wait() // it dies by itself
			c.conn.Close()
			named++
		}
		wait.Wait()
		c = startBowrolld(t, store)
		for name, done := range all {
			if len(done)%3 == 2 { // the last plan was confirmed and not cancelled
				done = append(done, cancel(fmt.Sprintf("%s-%d", name, len(done)/3)))
			}
			for _, one := range done {
				entries += one.entries
				answer, err := one.call(ctx, c.conn)
				switch {
				case err != nil:
					t.Fatalf("cycle %d: %v", cycle, err)
				case one.answer == nil:
					unknown++
				case !proto.Equal(one.answer, answer):
					t.Fatalf("cycle %d: another answer than was acknowledged:\n%v\n%v", cycle, one.answer, answer)
				default:
					acknowledged++
				}
			}
		}
		log, err := bowrollv1.NewStockClient(c.conn).VerifyLog(ctx, &bowrollv1.VerifyLogRequest{Parent: "sites/varrow"})
		if err != nil || !log.GetHolds() || int(log.GetEntryCount()) != entries {
			t.Fatalf("cycle %d: %d entries are wanted: %v %v", cycle, entries, log, err)
		}
	}
	c.kill()
	t.Logf("%d kills, %d of them at named points, %d acknowledged requests, 0 lost, 0 repeated; %d without an answer, each settled by sending it again", cycles, named, acknowledged, unknown)
	if acknowledged == 0 {
		t.Error("nothing was acknowledged")
	}
}

// killCount is how often to kill: a few times, in CI 200; BOWROLL_KILL_CYCLES sets
// another number.
func killCount(t *testing.T) int {
	usual := 6
	switch {
	case testing.Short():
		usual = 3
	case os.Getenv("CI") == "true":
		usual = 200
	}
	return longer.Count(t, "BOWROLL_KILL_CYCLES", usual)
}

func TestKillOverAFile(t *testing.T) {
	killCycles(t, filepath.Join(t.TempDir(), "bowroll.db"), killCount(t), 100*time.Millisecond)
}

func TestKillOverPostgres(t *testing.T) {
	killCycles(t, ownSchema(t), killCount(t), 300*time.Millisecond)
}

// ownSchema makes a schema of the test's own in PostgreSQL and returns its
// address. Without PostgreSQL it skips.
func ownSchema(t *testing.T) (address string) {
	t.Helper()
	address = os.Getenv("BOWROLL_TEST_POSTGRES")
	if address == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("BOWROLL_TEST_POSTGRES is not set: in CI this test has to run")
		}
		t.Skip("no PostgreSQL: set BOWROLL_TEST_POSTGRES to an address like postgres://user@127.0.0.1/database")
	}
	schema := fmt.Sprintf("bowrolld_%d", time.Now().UnixNano())
	execute := func(statement string) {
		conn, err := pgx.Connect(context.Background(), address)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close(context.Background())
		if _, err := conn.Exec(context.Background(), statement); err != nil {
			t.Fatal(err)
		}
	}
	execute("CREATE SCHEMA " + schema)
	t.Cleanup(func() { execute("DROP SCHEMA " + schema + " CASCADE") })
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", schema)
	u.RawQuery = q.Encode()
	return u.String()
}
