// Command bench measures the store beside the bare driver: the same rows
// written by hand in one transaction on the same schema. It prints one line a
// figure, name, value, bar and verdict, and exits 1 where a bar is missed.
//
// Run it from the top of the module: go run ./server/store/bench. Both sides run
// in turns on files of their own in one folder, and the median of the ratios
// counts; the disk's own speed falls out.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"bowroll/server/store"
	"bowroll/server/store/ledger"
	"bowroll/server/store/sqlite"
)

func main() {
	rounds := flag.Int("rounds", 9, "turns that each side takes")
	each := flag.Int("each", 20, "plans confirmed in a turn")
	flag.Parse()
	missed, err := run(context.Background(), *rounds, *each)
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(2)
	}
	if missed {
		os.Exit(1)
	}
}

// figure is one line of the answer.
type figure struct {
	name  string
	value float64
	unit  string
	bar   float64
	// most says that the bar is the most the value may be, not the least.
	most bool
}

func (f figure) holds() bool {
	if f.most {
		return f.value <= f.bar
	}
	return f.value >= f.bar
}

func (f figure) print() {
	word, verdict := "at least", "holds"
	if f.most {
		word = "at most"
	}
	if !f.holds() {
		verdict = "missed"
	}
	fmt.Printf("%-40s %10.3f %-6s %s %g  %s\n", f.name, f.value, f.unit, word, f.bar, verdict)
}

func run(ctx context.Context, rounds, each int) (missed bool, err error) {
	dir, err := os.MkdirTemp("", "bowroll-bench-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(dir)
	ratio, ours, hand, err := confirm(ctx, dir, rounds, each)
	if err != nil {
		return false, err
	}
	listing, err := list(ctx, dir)
	if err != nil {
		return false, err
	}
	fmt.Printf("# confirm: %.0f plans/s here, %.0f by hand (40 sorties, 120 units, medians of %d turns)\n", ours, hand, rounds)
	for _, f := range []figure{
		{name: "confirm-of-40-sorties-by-hand-ratio", value: ratio, unit: "ratio", bar: 0.7},
		{name: "list-100000-units", value: listing.Seconds(), unit: "s", bar: 2, most: true},
	} {
		f.print()
		missed = missed || !f.holds()
	}
	return missed, nil
}

// The plans that are confirmed: sorties and units of each.
const (
	sorties = 40
	perFit  = 3
)

// confirm measures plans a second, here and by hand, in turns.
func confirm(ctx context.Context, dir string, rounds, each int) (ratio, ours, hand float64, err error) {
	s, err := sqlite.Open(ctx, filepath.Join(dir, "store.db"), sqlite.Options{})
	if err != nil {
		return 0, 0, 0, err
	}
	defer s.Close()
	bare, err := newByHand(ctx, filepath.Join(dir, "hand.db"))
	if err != nil {
		return 0, 0, 0, err
	}
	defer bare.close()
	var ratios, here, there []float64
	for round := range rounds + 1 {
		site := fmt.Sprintf("site-%d", round)
		if err := stock(ctx, s, site, each); err != nil {
			return 0, 0, 0, err
		}
		if err := bare.stock(ctx, s, site); err != nil {
			return 0, 0, 0, err
		}
		start := time.Now()
		for i := range each {
			if err := change(ctx, s, site, func(ctx context.Context, book *ledger.Book) error {
				_, err := book.Confirm(ctx, planID(i), 0, morning.Add(4*time.Hour))
				return err
			}); err != nil {
				return 0, 0, 0, err
			}
		}
		mine := float64(each) / time.Since(start).Seconds()
		start = time.Now()
		if err := bare.confirm(ctx, s, site, each); err != nil {
			return 0, 0, 0, err
		}
		theirs := float64(each) / (time.Since(start) - bare.reading).Seconds()
		if round > 0 { // the first warms both
			ratios, here, there = append(ratios, mine/theirs), append(here, mine), append(there, theirs)
		}
	}
	return median(ratios), median(here), median(there), nil
}

func median(list []float64) float64 {
	slices.Sort(list)
	return list[len(list)/2]
}

// morning is when the invented day begins.
var morning = time.Date(2031, 5, 4, 4, 0, 0, 0, time.UTC)

func planID(i int) string { return fmt.Sprintf("plan-%04d", i) }

// change runs one change of the ledger.
func change(ctx context.Context, s store.Store, site string, run func(context.Context, *ledger.Book) error) error {
	_, _, err := s.Update(ctx, site, store.Request{}, func(ctx context.Context, tx store.Tx) ([]byte, error) {
		book, err := ledger.Open(ctx, tx, ledger.By{Actor: "planner", Time: morning})
		if err != nil {
			return nil, err
		}
		if err := run(ctx, book); err != nil {
			return nil, err
		}
		return nil, book.Close(ctx)
	})
	return err
}

// stock receives units enough for so many plans and saves the plans.
func stock(ctx context.Context, s store.Store, site string, plans int) error {
	for i := range plans {
		lot := store.Lot{ID: fmt.Sprintf("lot-%04d", i), Kind: store.Booster, Type: "boosterTypes/bolt", ExpireTime: morning.AddDate(1, 0, 0)}
		units := make([]string, sorties*perFit)
		var steps []ledger.Step
		for j := range units {
			units[j] = fmt.Sprintf("u-%04d-%03d", i, j)
			steps = append(steps, ledger.Step{Unit: units[j], Event: store.Inspect, Reason: "arrival"}, ledger.Step{Unit: units[j], Event: store.Accept, Reason: "arrival"})
		}
		plan := store.Plan{ID: planID(i)}
		for j := range sorties {
			plan.Sorties = append(plan.Sorties, store.Sortie{
				ID: fmt.Sprintf("heron-%d", j), LaunchTime: morning.Add(time.Hour), Draws: []store.Draw{{Lot: lot.ID, Count: perFit}},
			})
		}
		if err := change(ctx, s, site, func(ctx context.Context, book *ledger.Book) error {
			if _, err := book.ReceiveLot(ctx, lot, units, "mag-1", "delivery"); err != nil {
				return err
			}
			if _, err := book.Take(ctx, steps); err != nil {
				return err
			}
			_, err := book.SavePlan(ctx, plan)
			return err
		}); err != nil {
			return err
		}
	}
	return nil
}

// list measures reading 100 000 units in pages of 1 000.
func list(ctx context.Context, dir string) (time.Duration, error) {
	s, err := sqlite.Open(ctx, filepath.Join(dir, "list.db"), sqlite.Options{})
	if err != nil {
		return 0, err
	}
	defer s.Close()
	const lots, perLot = 10, 10000
	for i := range lots {
		units := make([]string, perLot)
		for j := range units {
			units[j] = fmt.Sprintf("u-%02d-%05d", i, j)
		}
		lot := store.Lot{ID: fmt.Sprintf("lot-%02d", i), Kind: store.Booster, Type: "boosterTypes/bolt", ExpireTime: morning.AddDate(1, 0, 0)}
		if err := change(ctx, s, "tern", func(ctx context.Context, book *ledger.Book) error {
			_, err := book.ReceiveLot(ctx, lot, units, "mag-1", "delivery")
			return err
		}); err != nil {
			return 0, err
		}
	}
	start, total := time.Now(), 0
	for after := ""; ; {
		var page []store.Unit
		if err := s.View(ctx, "tern", func(ctx context.Context, r store.Reader) (err error) {
			page, err = r.ListUnits(ctx, store.UnitFilter{}, after, 1000)
			return err
		}); err != nil {
			return 0, err
		}
		if total += len(page); len(page) < 1000 {
			break
		}
		after = page[len(page)-1].ID
	}
	if total != lots*perLot {
		return 0, fmt.Errorf("listed %d units of %d", total, lots*perLot)
	}
	return time.Since(start), nil
}
