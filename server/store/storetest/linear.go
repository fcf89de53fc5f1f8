package storetest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// grab is one call of a client on one unit: take it for a plan of its own, give
// it up, or look.
type grab struct {
	unit   string
	what   string // "take", "give", "look"
	client int
}

// grabbed is its answer.
type grabbed struct {
	ok     bool
	holder int
}

// register is one unit as porcupine sees it: held by a client, or by nobody (0).
var register = porcupine.Model{
	Partition: func(history []porcupine.Operation) [][]porcupine.Operation {
		byUnit := map[string][]porcupine.Operation{}
		for _, op := range history {
			unit := op.Input.(grab).unit
			byUnit[unit] = append(byUnit[unit], op)
		}
		parts := make([][]porcupine.Operation, 0, len(byUnit))
		for _, part := range byUnit {
			parts = append(parts, part)
		}
		return parts
	},
	Init: func() any { return 0 },
	Step: func(state, input, output any) (bool, any) {
		holder, in, out := state.(int), input.(grab), output.(grabbed)
		switch in.what {
		case "take":
			if out.ok {
				return holder == 0, in.client
			}
			return holder != 0, holder
		case "give":
			if out.ok {
				return holder == in.client, 0
			}
			return holder != in.client, holder
		default:
			return out.holder == holder, holder
		}
	},
	DescribeOperation: func(input, output any) string { return fmt.Sprintf("%+v -> %+v", input, output) },
}

// Linearizable lets clients reserve, release and read a few units at once and
// checks that their answers fit one order of calls. It returns the history, for
// tests of the tester.
func Linearizable(t testing.TB, tester Tester, clients, each int, seed uint64) []porcupine.Operation {
	b := newBench(t, tester.New(t))
	const units = 8
	for i := range units {
		b.stock(boosters(fmt.Sprintf("lot-%d", i), 90), []string{fmt.Sprintf("u-%d", i)})
	}
	var (
		wait    sync.WaitGroup
		lock    sync.Mutex
		history []porcupine.Operation
		start   = time.Now()
	)
	for client := 1; client <= clients; client++ {
		wait.Go(func() {
			random := rand.New(rand.NewPCG(seed, uint64(client)))
			hold := map[string]string{} // unit -> plan it is held under
			for i := range each {
				call := grab{unit: fmt.Sprintf("u-%d", random.IntN(units)), what: "take", client: client}
				if _, mine := hold[call.unit]; mine && random.IntN(3) > 0 {
					call.what = "give"
				} else if random.IntN(3) == 0 {
					call.what = "look"
				}
				called := time.Since(start).Nanoseconds()
				answer := b.grab(call, fmt.Sprintf("c%d-%d", client, i), hold)
				returned := time.Since(start).Nanoseconds()
				lock.Lock()
				history = append(history, porcupine.Operation{ClientId: client, Input: call, Output: answer, Call: called, Return: returned})
				lock.Unlock()
			}
		})
	}
	wait.Wait()
	if result, _ := porcupine.CheckOperationsVerbose(register, history, time.Minute); result != porcupine.Ok {
		t.Errorf("%d calls of %d clients on %d units: %s", len(history), clients, units, result)
	}
	return history
}

// grab makes one call.
func (b *bench) grab(call grab, id string, hold map[string]string) grabbed {
	lot := "lot-" + call.unit[2:]
	switch call.what {
	case "take":
		err := b.try(func(ctx context.Context, book *ledger.Book) error {
			if _, err := book.SavePlan(ctx, store.Plan{ID: id, DisplayName: fmt.Sprint(call.client), Sorties: []store.Sortie{{
				ID: "heron-1", LaunchTime: dawn.Add(time.Hour), Draws: []store.Draw{{Lot: lot, Count: 1}},
			}}}); err != nil {
				return err
			}
			_, err := book.Confirm(ctx, id, 0, dawn.Add(2*time.Hour))
			return err
		})
		if err != nil && !store.Is(err, store.Changed) {
			b.t.Errorf("%+v: %v", call, err)
		}
		if err == nil {
			hold[call.unit] = id
		}
		return grabbed{ok: err == nil}
	case "give":
		err := b.try(func(ctx context.Context, book *ledger.Book) error {
			_, err := book.CancelPlan(ctx, hold[call.unit], 0, "given up")
			return err
		})
		if err != nil {
			b.t.Errorf("%+v: %v", call, err)
		}
		delete(hold, call.unit)
		return grabbed{ok: err == nil}
	}
	holder := 0
	b.view(func(ctx context.Context, r store.Reader) error {
		units, err := r.Units(ctx, []string{call.unit})
		if err != nil || units[0].Plan == "" {
			return err
		}
		_, err = fmt.Sscanf(units[0].Plan, "c%d-", &holder)
		return err
	})
	return grabbed{ok: true, holder: holder}
}

// CheckHistory reports whether a history fits one order of calls.
func CheckHistory(history []porcupine.Operation) bool {
	return porcupine.CheckOperations(register, history)
}

// Forge returns a copy of a history in which one refused call says that it
// succeeded: a double promise.
func Forge(history []porcupine.Operation) ([]porcupine.Operation, bool) {
	forged := append([]porcupine.Operation(nil), history...)
	for i, op := range forged {
		if op.Input.(grab).what == "take" && !op.Output.(grabbed).ok {
			forged[i].Output = grabbed{ok: true}
			return forged, true
		}
	}
	return forged, false
}
