package main

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// hold is one call on one unit: confirm a plan that takes it, cancel one, or look
// which plan has it.
type hold struct {
	unit, what, plan string // what is "take", "give" or "look"
	// sure says of a cancelled plan that it was confirmed.
	sure bool
}

// held is the answer: whether it was done, and for a look the plan. Of a call
// that the service died over nothing is known: it may have been done at any
// instant since, or never.
type held struct {
	known, ok bool
	plan      string
}

// heldUnit is a unit as porcupine sees it: the plan that has it, or none.
var heldUnit = porcupine.Model{
	Partition: func(history []porcupine.Operation) (parts [][]porcupine.Operation) {
		byUnit := map[string]int{}
		for _, op := range history {
			unit := op.Input.(hold).unit
			at, ok := byUnit[unit]
			if !ok {
				at = len(parts)
				byUnit[unit] = at
				parts = append(parts, nil)
			}
			parts[at] = append(parts[at], op)
		}
		return parts
	},
	Init: func() any { return "" },
	Step: func(state, input, output any) (bool, any) {
		has, in, out := state.(string), input.(hold), output.(held)
		switch {
		case in.what == "look":
			return out.plan == has, has
		case in.what == "take" && !out.known:
			if has == "" {
				return true, in.plan
			}
			return true, has
		case in.what == "take" && out.ok:
			return has == "", in.plan
		case in.what == "take":
			return has != "", has
		case out.known && !out.ok:
			return has != in.plan, has
		case has == in.plan: // given up, for all that is known
			return true, ""
		default: // a plan that was not confirmed, or is given up already
			return !out.known || !in.sure, has
		}
	},
	DescribeOperation: func(input, output any) string { return fmt.Sprintf("%+v -> %+v", input, output) },
}

// running is a bowrolld that is killed and started again under its callers.
type running struct {
	lock  sync.Mutex
	child *child
}

func (r *running) conn() *grpc.ClientConn {
	r.lock.Lock()
	defer r.lock.Unlock()
	return r.child.conn
}

// replace kills it and starts another over the same store; callers wait.
func (r *running) replace(t *testing.T, store string) {
	r.lock.Lock()
	defer r.lock.Unlock()
	r.child.kill()
	r.child = startBowrolld(t, store)
}

// linear lets clients confirm and cancel plans over the same few units while the
// service is killed again and again, and checks that all answers fit one order.
func linear(t *testing.T, store string, each, kills int, seed uint64) (history []porcupine.Operation) {
	const clients, units = 16, 8
	service := &running{child: startBowrolld(t, store)}
	defer func() { service.child.kill() }()
	stockHeld(t, service.conn(), units)
	var (
		wait    sync.WaitGroup
		lock    sync.Mutex
		count   atomic.Int64
		unknown atomic.Int64
		start   = time.Now()
	)
	for client := range clients {
		wait.Go(func() {
			random := rand.New(rand.NewPCG(seed, uint64(client)))
			mine := map[string]hold{} // by unit, what this client has or may have
			for i := range each {
				call := hold{unit: fmt.Sprintf("u-%d", random.IntN(units)), what: "take", plan: fmt.Sprintf("c%d-%d", client, i)}
				if last, ok := mine[call.unit]; ok && random.IntN(3) > 0 {
					call = hold{unit: call.unit, what: "give", plan: last.plan, sure: last.sure}
				} else if random.IntN(3) == 0 {
					call = hold{unit: call.unit, what: "look"}
				}
				answer, called, made := call.make(t, service.conn(), start)
				count.Add(1)
				returned := time.Since(start).Nanoseconds()
				if !answer.known {
					returned = math.MaxInt64
					unknown.Add(1)
				}
				switch {
				case call.what == "take" && made && (answer.ok || !answer.known):
					call.sure = answer.known
					mine[call.unit] = call
				case call.what == "give":
					delete(mine, call.unit)
				}
				if made && (answer.known || call.what != "look") {
					lock.Lock()
					history = append(history, porcupine.Operation{ClientId: client, Input: call, Output: answer, Call: called, Return: returned})
					lock.Unlock()
				}
			}
		})
	}
	random := rand.New(rand.NewPCG(seed, 99))
	for kill := range kills {
		for count.Load() < int64(clients*each*(kill+1)/(kills+1)) {
			time.Sleep(time.Millisecond)
		}
		time.Sleep(time.Duration(random.IntN(5000)) * time.Microsecond)
		service.replace(t, store)
	}
	wait.Wait()
	if result, _ := porcupine.CheckOperationsVerbose(heldUnit, history, 2*time.Minute); result != porcupine.Ok {
		t.Errorf("%d calls of %d clients, %d kills: %s", len(history), clients, kills, result)
	}
	if unknown.Load() == 0 {
		t.Error("no call was in hand when the service was killed")
	}
	log, err := bowrollv1.NewStockClient(service.conn()).VerifyLog(t.Context(), &bowrollv1.VerifyLogRequest{Parent: "sites/varrow"})
	if err != nil || !log.GetHolds() {
		t.Errorf("the log afterwards: %v %v", log, err)
	}
	t.Logf("seed %d: %d calls of %d clients fit one order, %d kills, %d calls without an answer", seed, len(history), clients, kills, unknown.Load())
	return history
}

// make makes the call. called is when; made is false where it never came to the
// call, because the plan to confirm could not be saved.
func (h hold) make(t *testing.T, conn *grpc.ClientConn, start time.Time) (answer held, called int64, made bool) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	plans := bowrollv1.NewPlansClient(conn)
	etag := ""
	if h.what == "take" {
		request := killPlan(h.plan)
		lot := "lot-" + strings.TrimPrefix(h.unit, "u-")
		request.Cycle.Lots[0].Id, request.Answer.Launches[0].Draws[0].Lot = lot, lot
		saved, err := plans.CreatePlan(ctx, request)
		if err != nil {
			return held{}, 0, false
		}
		etag = saved.GetEtag()
	}
	called = time.Since(start).Nanoseconds()
	var err error
	switch h.what {
	case "take":
		_, err = plans.ConfirmPlan(ctx, &bowrollv1.ConfirmPlanRequest{
			Name: "sites/varrow/plans/" + h.plan, Etag: etag, HoldUntilTime: timestamppb.New(holdUntil), Actor: "planner", RequestId: "confirm-" + h.plan,
		})
	case "give":
		_, err = cancelPlan(ctx, plans, h.plan)
	default:
		var unit *bowrollv1.Unit
		unit, err = bowrollv1.NewStockClient(conn).GetUnit(ctx, &bowrollv1.GetUnitRequest{Name: "sites/varrow/units/" + h.unit})
		answer.plan = strings.TrimPrefix(unit.GetPlan(), "sites/varrow/plans/")
	}
	switch code := status.Code(err); code {
	case codes.OK:
		answer.known, answer.ok = true, true
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
	case codes.Aborted, codes.FailedPrecondition:
		if answer.known = true; h.what == "give" && h.sure {
			t.Errorf("a plan that was confirmed cannot be cancelled: %v", err)
		}
	default:
		t.Errorf("%+v: %v", h, err)
	}
	return answer, called, true
}

func cancelPlan(ctx context.Context, plans bowrollv1.PlansClient, plan string) (*bowrollv1.Plan, error) {
	return plans.CancelPlan(ctx, &bowrollv1.CancelPlanRequest{Name: "sites/varrow/plans/" + plan, Reason: "fog", Actor: "planner", RequestId: "cancel-" + plan})
}

// stockHeld makes lots of one unit each.
func stockHeld(t *testing.T, conn *grpc.ClientConn, units int) {
	t.Helper()
	stock := bowrollv1.NewStockClient(conn)
	for i := range units {
		unit := fmt.Sprintf("u-%d", i)
		if _, err := stock.CreateLot(t.Context(), &bowrollv1.CreateLotRequest{
			Parent: "sites/varrow", LotId: fmt.Sprintf("lot-%d", i), Units: []string{unit}, Place: "mag-1", Reason: "note", Actor: "k", RequestId: "create-" + unit,
			Lot: &bowrollv1.StockLot{Kind: bowrollv1.LotKind_LOT_KIND_BOOSTER, Type: "boosterTypes/emberlin-6", ExpireTime: timestamppb.New(holdUntil)},
		}); err != nil {
			t.Fatal(err)
		}
		if _, err := stock.MoveUnits(t.Context(), &bowrollv1.MoveUnitsRequest{Parent: "sites/varrow", Actor: "k", RequestId: "accept-" + unit, Steps: []*bowrollv1.UnitStep{
			{Unit: unit, Event: bowrollv1.UnitEvent_UNIT_EVENT_INSPECT, Reason: "arrival"},
			{Unit: unit, Event: bowrollv1.UnitEvent_UNIT_EVENT_ACCEPT, Reason: "arrival"},
		}}); err != nil {
			t.Fatal(err)
		}
	}
}

// linearSeeds runs the short form for three seeds, or with BOWROLL_LINEAR_LONG set
// 1,000 calls of each client and 20 kills a seed.
func linearSeeds(t *testing.T, store func() string) {
	each, kills := 12, 2
	if os.Getenv("BOWROLL_LINEAR_LONG") != "" {
		each, kills = 1000, 20
	}
	forged := false
	for seed := range uint64(3) {
		history := linear(t, store(), each, kills, seed)
		// The checker is checked: one forged success must be found.
		for i, op := range history {
			if out := op.Output.(held); op.Input.(hold).what == "take" && out.known && !out.ok && !forged {
				forged = true
				history[i].Output = held{known: true, ok: true}
				if porcupine.CheckOperations(heldUnit, history) {
					t.Error("a forged double promise was not found")
				}
			}
		}
	}
	if !forged {
		t.Error("nobody was refused: the clients never met")
	}
}

func TestLinearizableThroughKillsOverAFile(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills the program many times")
	}
	linearSeeds(t, func() string { return filepath.Join(t.TempDir(), "bowroll.db") })
}

func TestLinearizableThroughKillsOverPostgres(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills the program many times")
	}
	linearSeeds(t, func() string { return ownSchema(t) })
}
