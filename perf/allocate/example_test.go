package allocate_test

import (
	"context"
	"fmt"

	"bowroll/perf/allocate"
)

// Four units for three aircraft: the two that are worth most go, with the fewest
// units and from the lot that expires first.
func Example() {
	pair := func(lot int, margin int64) allocate.Fit {
		return allocate.Fit{ID: fmt.Sprint("pair of lot ", lot+1), Draws: []allocate.Draw{{Lot: lot, Units: 2}}, MarginMM: margin}
	}
	p := &allocate.Problem{
		Lots: []allocate.Lot{
			{ID: "lot-1", Available: 2, ExpiryRank: 0},
			{ID: "lot-2", Available: 3, ExpiryRank: 1},
		},
		Sorties: []allocate.Sortie{
			{ID: "kite-1", Priority: 3, LaunchS: 0, Fits: []allocate.Fit{pair(0, 9_000), pair(1, 14_000)}},
			{ID: "kite-2", Priority: 1, LaunchS: 60, Fits: []allocate.Fit{pair(0, 8_000), pair(1, 8_500)}},
			{ID: "heron-1", Priority: 5, LaunchS: 120, Fits: []allocate.Fit{pair(1, 4_000)}},
		},
	}
	r, err := allocate.Solve(context.Background(), p, allocate.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(r.Status, r.Objective.Priority, "with", r.Objective.Units, "units")
	for i, c := range r.Choices {
		if c.Fit == allocate.Held {
			fmt.Println(p.Sorties[i].ID, "held")
			continue
		}
		fmt.Println(p.Sorties[i].ID, p.Sorties[i].Fits[c.Fit].ID)
	}
	why, _ := allocate.Explain(p, r)
	fit, _ := why.Sorties[1].Cheapest()
	fmt.Println("kite-2 lacks", fit.Lacking[0].Short, "of", fit.Lacking[0].Binding)
	// Output:
	// optimal 8 with 4 units
	// kite-1 pair of lot 1
	// kite-2 held
	// heron-1 pair of lot 2
	// kite-2 lacks 1 of lot lot-2
}
