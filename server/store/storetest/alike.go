package storetest

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
)

// Named is a store with a name for reports.
type Named struct {
	Name  string
	Store store.Store
}

// Alike runs the same random lists of commands on every store, each list on a
// site of its own, and compares every answer, every refusal to the letter, and
// all that the site holds at the end, down to the hash of its log.
func Alike(t *testing.T, lists int, stores ...Named) {
	answers, refusals := 0, 0
	for seed := range uint64(lists) {
		var first []string
		for i, one := range stores {
			told := tell(t, one.Store, seed)
			if i == 0 {
				first = told
				for _, line := range told {
					if strings.Contains(line, " refused: ") {
						refusals++
					} else {
						answers++
					}
				}
				continue
			}
			if at := differ(first, told); at >= 0 {
				t.Fatalf("list %d, command %d: %s says\n%s\nand %s says\n%s", seed, at, stores[0].Name, first[at], one.Name, told[at])
			}
		}
	}
	for _, one := range stores {
		if err := one.Store.Check(context.Background()); err != nil {
			t.Errorf("%s: %v", one.Name, err)
		}
	}
	t.Logf("%d lists on %d stores: %d answers and %d refusals, all equal", lists, len(stores), answers, refusals)
	if answers == 0 || refusals == 0 {
		t.Error("nothing was done, or nothing was refused: such lists compare little")
	}
}

// differ is where two lists of as many lines differ first, or -1.
func differ(one, other []string) int {
	for i := range one {
		if one[i] != other[i] {
			return i
		}
	}
	return -1
}

// tell runs the list of a seed and returns a line for each command, and one for
// all that is there at the end.
func tell(t *testing.T, s store.Store, seed uint64) (lines []string) {
	t.Helper()
	b := &bench{Store: s, t: t, site: fmt.Sprintf("alike-%d", seed), now: dawn}
	b.stock(boosters("lot-a", 90), []string{"u-01", "u-02", "u-03", "u-04"})
	b.stock(boosters("lot-b", 1), []string{"u-05", "u-06"})
	random := rand.New(rand.NewPCG(seed, 5))
	for range 24 {
		name, run := command(random)
		b.now = b.now.Add(time.Duration(random.IntN(90)) * time.Minute)
		answer := ""
		err := b.try(func(ctx context.Context, book *ledger.Book) error {
			got, err := run(ctx, book)
			if err != nil {
				return err
			}
			text, err := json.Marshal(got)
			answer = string(text)
			return err
		})
		if err != nil {
			answer = "refused: " + store.ClassOf(err).String() + ": " + err.Error()
		}
		lines = append(lines, name+" "+answer)
	}
	return append(lines, b.everything())
}

// command draws a command, of units, lots and plans of which few exist.
func command(random *rand.Rand) (name string, run func(context.Context, *ledger.Book) (any, error)) {
	of := func(list ...string) string { return list[random.IntN(len(list))] }
	unit := func() string { return fmt.Sprintf("u-%02d", 1+random.IntN(9)) }
	lot, plan := of("lot-a", "lot-a", "lot-b", "lot-c"), of("p-1", "p-2", "p-3")
	units := []string{unit(), unit()}
	hours := time.Duration(1+random.IntN(5)) * time.Hour
	events := store.Events()
	event, authority := events[random.IntN(len(events))], of("", "ordnance officer")
	draws := 1 + random.IntN(3)
	temperature := float64(random.IntN(60))
	switch random.IntN(16) {
	case 0:
		return "receive", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.ReceiveUnits(ctx, lot, slices.Compact(units), "mag-1", "delivery")
		}
	case 1, 2, 3:
		return "step " + string(event), func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.Take(ctx, []ledger.Step{{Unit: units[0], Event: event, Place: "mag-2", Reason: "drawn", Authority: authority}})
		}
	case 4:
		return "steps", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.Take(ctx, []ledger.Step{
				{Unit: units[0], Event: store.Inspect, Reason: "drawn"}, {Unit: units[0], Event: store.Accept, Reason: "drawn"},
				{Unit: units[1], Event: event, Place: "mag-2", Reason: "drawn", Authority: authority},
			})
		}
	case 5:
		return "save", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.SavePlan(ctx, store.Plan{ID: plan, Cycle: []byte("cycle"), Answer: []byte("answer"), Sorties: []store.Sortie{
				{ID: "s-0", LaunchTime: book.Now().Add(time.Hour), Draws: []store.Draw{{Lot: lot, Count: draws}}},
				{ID: "s-1", LaunchTime: book.Now().Add(time.Hour), Draws: []store.Draw{{Lot: "lot-a", Count: 1}}},
			}})
		}
	case 6, 7:
		return "confirm", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.Confirm(ctx, plan, 0, book.Now().Add(hours))
		}
	case 8:
		return "cancel", func(ctx context.Context, book *ledger.Book) (any, error) { return book.CancelPlan(ctx, plan, 0, "fog") }
	case 9:
		return "scrub", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.ScrubSortie(ctx, plan, "s-0", "engine")
		}
	case 10:
		return "lapse", func(ctx context.Context, book *ledger.Book) (any, error) { return book.ExpireReservations(ctx) }
	case 11:
		if authority == "" {
			return "suspend", func(ctx context.Context, book *ledger.Book) (any, error) {
				_, plans, err := book.SuspendLot(ctx, lot, "a bad batch", "")
				return plans, err
			}
		}
		return "lift", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.LiftSuspension(ctx, lot, "tested", authority)
		}
	case 12:
		return "waive", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.RecordWaiver(ctx, plan, store.Waiver{
				Sortie: "s-0", Caution: "tailwind", Text: "A tailwind.", Authority: authority, Reason: "drawn", Until: book.Now().Add(hours),
			}, []string{"tailwind"})
		}
	case 13:
		return "revoke", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.RevokeWaiver(ctx, plan, "s-0", "tailwind", "drawn")
		}
	case 14:
		return "card", func(ctx context.Context, book *ledger.Book) (any, error) {
			return book.IssueCard(ctx, plan, "s-0", book.Now().Add(hours), []byte("box"))
		}
	default:
		return "count and read", func(ctx context.Context, book *ledger.Book) (any, error) {
			difference, err := book.CountStock(ctx, lot, "mag-1", units, "weekly")
			if err != nil {
				return nil, err
			}
			added, quarantined, err := book.RecordReadings(ctx, lot, []store.Reading{{Time: book.Now(), TemperatureC: temperature}})
			return fmt.Sprint(difference, added, quarantined), err
		}
	}
}
