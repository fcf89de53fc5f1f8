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
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// childArgs is the variable that makes the test binary be bowrolld.
const childArgs = "BOWROLLD_TEST_ARGS"

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
	os.Exit(run(ctx, args, func(string) (string, bool) { return "", false }, os.Stdout, os.Stderr))
	return true
}

// child is a bowrolld in a process of its own.
type child struct {
	cmd  *exec.Cmd
	conn *grpc.ClientConn
}

// startBowrolld starts one and waits until it is ready.
func startBowrolld(t *testing.T, store string) *child {
	t.Helper()
	args, err := json.Marshal([]string{"--grpc", "127.0.0.1:0", "--http", "", "--store", store, "--log-level", "info"})
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childArgs+"="+string(args))
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
			return &child{cmd: cmd, conn: conn}
		}
	}
	_ = cmd.Wait()
	t.Fatalf("bowrolld did not start: %s", said)
	return nil
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
			Provenance: &bowrollv1.Provenance{ModelVersion: "1.0.0", CatalogRevision: "sha256:0", RequestDigest: "sha256:1"},
		},
	}
}

// killCycles kills bowrolld under load and restarts it, again and again. After
// each restart every request of the cycle is sent again: what was acknowledged
// gets the very same answer, what was not is done now or was done; then the log
// holds exactly the entries of all requests, once.
func killCycles(t *testing.T, store string, cycles int, longest time.Duration) {
	random := rand.New(rand.NewPCG(11, 12))
	ctx := context.Background()
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
	acknowledged, unknown := 0, 0
	for cycle := range cycles {
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
		time.Sleep(time.Duration(1 + random.Int64N(int64(longest))))
		c.kill()
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
	t.Logf("%d kills, %d acknowledged requests, 0 lost, 0 repeated; %d without an answer, each settled by sending it again", cycles, acknowledged, unknown)
	if acknowledged == 0 {
		t.Error("nothing was acknowledged")
	}
}

// killCount is how often to kill; BOWROLL_KILL_CYCLES sets another number.
func killCount(t *testing.T) int {
	if text := os.Getenv("BOWROLL_KILL_CYCLES"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if testing.Short() {
		return 3
	}
	return 200
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
