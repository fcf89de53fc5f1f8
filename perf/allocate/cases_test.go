package allocate

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"
)

func optimal(t testing.TB, p *Problem) *Result {
	t.Helper()
	r, err := Solve(context.Background(), p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Status != Optimal {
		t.Fatalf("status %v", r.Status)
	}
	return r
}

// shortStock is planner case D37 of the vectors: fits by number of units, one lot,
// pairs only.
func shortStock(stock int) *Problem {
	p := &Problem{Lots: []Lot{{ID: "lot", Available: stock}}}
	for _, a := range []struct {
		id       string
		priority int
		units    []int
	}{
		{"A1", 5, []int{2, 4}}, {"A2", 4, []int{2, 4}}, {"A3", 3, []int{2, 4}}, {"A4", 3, []int{4}},
		{"A5", 2, []int{2, 4}}, {"A6", 1, []int{0, 2, 4}}, {"A7", 4, []int{4}},
	} {
		s := Sortie{ID: a.id, Priority: a.priority}
		for _, n := range a.units {
			f := Fit{ID: fmt.Sprint(n), MarginMM: int64(1000 * n)}
			if n > 0 {
				f.Draws = []Draw{{0, n}}
			}
			s.Fits = append(s.Fits, f)
		}
		p.Sorties = append(p.Sorties, s)
	}
	return p
}

// Expected values of case D37: an exhaustive search and a mixed integer program of
// an independent computation agree on them.
func TestShortStock(t *testing.T) {
	for _, c := range []struct {
		stock        int
		value, units int64
		plan         string
	}{
		{9, 15, 8, "A1:2 A2:2 A3:2 A5:2 A6:0"},
		{6, 13, 6, "A1:2 A2:2 A3:2 A6:0"},
		{4, 10, 4, "A1:2 A2:2 A6:0"},
		{1, 1, 0, "A6:0"},
		{0, 1, 0, "A6:0"},
	} {
		p := shortStock(c.stock)
		r := optimal(t, p)
		var plan []string
		for i, ch := range r.Choices {
			if ch.Fit != Held {
				plan = append(plan, p.Sorties[i].ID+":"+p.Sorties[i].Fits[ch.Fit].ID)
			}
		}
		if got := strings.Join(plan, " "); r.Objective.Priority != c.value || r.Objective.Units != c.units || got != c.plan {
			t.Errorf("stock %d: priority %d with %d units, %s; want %d with %d, %s", c.stock, r.Objective.Priority, r.Objective.Units, got, c.value, c.units, c.plan)
		}
	}
}

// Planner case D38: an empty stock is a normal case; every sortie is answered, with
// what keeps it.
func TestEmptyStock(t *testing.T) {
	p := shortStock(0)
	r := optimal(t, p)
	why, err := Explain(p, r)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range why.Sorties {
		if r.Choices[i].Fit != Held {
			continue
		}
		for _, f := range s.Fits {
			if f.Never != "stock" || len(f.Lacking) != 1 || f.Lacking[0].Kind != "lot" || f.Lacking[0].Short != int64(p.Sorties[i].Fits[f.Fit].Units()) {
				t.Errorf("%s fit %d: %+v", p.Sorties[i].ID, f.Fit, f)
			}
		}
	}
}

// Nine units with eight used: the ninth binds nothing, a tenth is worth a pair.
func TestWorthOfOneMore(t *testing.T) {
	p := shortStock(9)
	r := optimal(t, p)
	prices, err := Worth(context.Background(), p, r, Usual(p), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(prices) != 2 || prices[0].Gain.Priority != 2 || prices[1].Gain.Priority != 2 {
		// Ten units: A7 takes A5's pair and the new one.
		t.Errorf("prices %+v", prices)
	}
	if got := fmt.Sprint(prices[0].Launched, prices[0].Dropped); got != "[6] [4]" {
		t.Errorf("launched and dropped are %s", got)
	}
	if r.Objective.Priority != 15 || p.Lots[0].Available != 9 {
		t.Error("the base was touched")
	}
}

// respotted has two aircraft on two spots, each on the other's better one.
func respotted() *Problem {
	fit := func(spot string, units int) Fit {
		f := Fit{ID: fmt.Sprint(units, " on ", spot), Spot: spot, MarginMM: 5000}
		if units > 0 {
			f.Draws = []Draw{{0, units}}
		}
		return f
	}
	return &Problem{
		Lots: []Lot{{ID: "lot", Available: 8}},
		Sorties: []Sortie{
			{ID: "light", Priority: 2, Group: "range", Spot: "aft", HalfSpanMM: 6000, Fits: []Fit{fit("fore", 2), fit("aft", 0)}},
			{ID: "heavy", Priority: 3, Group: "range", Spot: "fore", HalfSpanMM: 9000, Fits: []Fit{fit("fore", 6), fit("aft", 2)}},
		},
		Groups: []Group{{ID: "range", Spots: []Spot{{ID: "fore"}, {ID: "aft"}}}},
	}
}

func TestRespotSavesUnits(t *testing.T) {
	r, err := Respot(context.Background(), respotted(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Given.Objective.Units != 6 || r.Best.Objective.Units != 4 || r.Saved.Units != 2 || fmt.Sprint(r.Moved) != "[0 1]" {
		t.Errorf("given %+v, best %+v, saved %+v, moved %v", r.Given.Objective, r.Best.Objective, r.Saved, r.Moved)
	}
}

func TestWingClearanceAndBlockedSpots(t *testing.T) {
	p := respotted()
	p.Groups[0].Spots[1].Takes = []string{"light"}
	if r := optimal(t, p); r.Objective.Units != 6 {
		t.Errorf("heavy must not go aft: %+v", r)
	}
	p = respotted()
	p.Groups[0].Neighbours = []Neighbour{{"fore", "aft", 14_000}}
	if r := optimal(t, p); r.Objective.Priority != 3 || r.Choices[0].Fit != Held {
		t.Errorf("only one of them has room: %+v", r)
	}
	// Aft stands behind fore; who is held stays. Without units light goes from aft
	// only, and then heavy is held in front of it.
	p = respotted()
	p.Lots[0].Available = 1
	p.Groups[0].Spots[1].Behind = "fore"
	if r := optimal(t, p); r.Objective.Priority != 2 {
		t.Errorf("held aircraft are struck clear: %+v", r)
	}
	p.Groups[0].HeldStay = true
	if r := optimal(t, p); r.Objective.Priority != 0 {
		t.Errorf("heavy blocks the way: %+v", r)
	}
	p.Sorties[0].Must = true
	if r, err := Solve(context.Background(), p, Options{}); err != nil || r.Status != Infeasible {
		t.Errorf("light must go and cannot: %+v %v", r, err)
	}
}

// Two sites draw on a pool: the transfer carries so much, and comes when it comes.
func TestFleetSharesAPool(t *testing.T) {
	p := &Problem{
		Sites:     []Site{{ID: "shore"}, {ID: "ship", Crews: &Crews{Teams: 4, UnitS: 60, HoldMinS: 600, HoldMaxS: 6000}}},
		Lots:      []Lot{{ID: "pool", Site: 0, Available: 10}},
		Transfers: []Transfer{{From: 0, To: 1, Lot: -1, MaxUnits: 4, ArriveS: 3000}},
	}
	for i, at := range []int64{3000, 3600, 4000, 5000} {
		p.Sorties = append(p.Sorties, Sortie{ID: fmt.Sprint("ship-", i), Site: 1, Priority: 5, LaunchS: at,
			Fits: []Fit{{ID: "pair", Draws: []Draw{{0, 2}}}}})
	}
	p.Sorties = append(p.Sorties, Sortie{ID: "shore-0", Priority: 1, Fits: []Fit{{ID: "three pairs", Draws: []Draw{{0, 6}}}}})
	r := optimal(t, p)
	want := []int{Held, 0, 0, Held, 0} // the first is too early, the transfer serves two
	for i, w := range want {
		if r.Choices[i].Fit != w {
			t.Errorf("%s has fit %d, want %d", p.Sorties[i].ID, r.Choices[i].Fit, w)
		}
	}
	why, err := Explain(p, r)
	if err != nil {
		t.Fatal(err)
	}
	if f := why.Sorties[0].Fits[0]; f.Never != "transfer" {
		t.Errorf("ship-0: %+v", f)
	}
	if f := why.Sorties[3].Fits[0]; f.Never != "" || len(f.Lacking) != 2 || f.Lacking[0].Kind != "lot" || f.Lacking[1].Kind != "transfer" {
		t.Errorf("ship-3: %+v", f)
	}
	p.Sites[0].Reserve = 5
	if r := optimal(t, p); r.Objective.Units != 4 || r.Choices[4].Fit != Held {
		t.Errorf("five units stay back: %+v", r)
	}
}

// The crew window of the design, by hand: 1 team, 100 s a unit, 300 s of fitting
// time before each launch, launches 100 s apart. One alone can have 3 units, two in
// a row 4, all three 5.
func TestCrewWindows(t *testing.T) {
	p := &Problem{
		Sites: []Site{{ID: "deck", Crews: &Crews{Teams: 1, UnitS: 100, HoldMinS: 50, HoldMaxS: 350}}},
		Lots:  []Lot{{ID: "lot", Available: 100}},
	}
	for i, units := range []int{3, 2, 1} {
		p.Sorties = append(p.Sorties, Sortie{ID: fmt.Sprint(i), Priority: 1, LaunchS: int64(100 * i),
			Fits: []Fit{{ID: "fit", Draws: []Draw{{0, units}}}}})
	}
	r := optimal(t, p)
	// 3+2 break a window of two, 3+_+1 and 2+1 keep theirs; fewest units wins.
	if got := fmt.Sprint(r.Choices[0].Fit, r.Choices[1].Fit, r.Choices[2].Fit); got != "-1 0 0" {
		t.Errorf("choices %s", got)
	}
	why, err := Explain(p, r)
	if err != nil {
		t.Fatal(err)
	}
	if f := why.Sorties[0].Fits[0]; len(f.Lacking) != 1 || f.Lacking[0].Kind != "crews" || f.Lacking[0].Short != 1 {
		t.Errorf("the first lacks %+v", f.Lacking)
	}
}

func TestKeepAnEarlierPlan(t *testing.T) {
	p := &Problem{Lots: []Lot{{ID: "a", Available: 2, ExpiryRank: 0}, {ID: "b", Available: 2, ExpiryRank: 1}}}
	p.Sorties = []Sortie{{ID: "s", Priority: 1, Keep: "from b", Fits: []Fit{
		{ID: "from a", Draws: []Draw{{0, 2}}}, {ID: "from b", Draws: []Draw{{1, 2}}}}}}
	if r := optimal(t, p); r.Choices[0].Fit != 0 {
		t.Error("without KeepAfter the lot that expires first is used")
	}
	p.KeepAfter = 2
	if r := optimal(t, p); r.Choices[0].Fit != 1 || r.Objective.Kept != 1 {
		t.Error("with it the card stays valid")
	}
}

// Reserve sizes against the tail summed by hand: 10 units with 5 % duds need 2
// spares for 97.5 % (P(at most 2 of 12) = 0.98043), 1 gives 0.8981.
func TestReserveFor(t *testing.T) {
	for _, c := range []struct {
		units  int
		dud    float64
		level  float64
		spares int
	}{{10, 0.05, 0.975, 2}, {10, 0.05, 0.89, 1}, {10, 0, 0.999, 0}, {0, 0.3, 0.9, 0}, {1, 0.5, 0.75, 1}, {1, 0.5, 0.8, 2}} {
		if got, err := ReserveFor(c.units, c.dud, c.level); err != nil || got != c.spares {
			t.Errorf("%+v: %d, %v", c, got, err)
		}
	}
	for _, c := range [][3]float64{{-1, 0.1, 0.9}, {5, 1, 0.9}, {5, 0.1, 1}, {5, 0.99, 0.999}} {
		if r, err := ReserveFor(int(c[0]), c[1], c[2]); err == nil {
			t.Errorf("%v: %d without an error", c, r)
		}
	}
}

func TestLimitsGiveABoundedAnswer(t *testing.T) {
	p := Generate(4, 200, 20, Medium)
	short, err := Solve(context.Background(), p, Options{Nodes: 3})
	if err != nil {
		t.Fatal(err)
	}
	if short.Status != Feasible {
		t.Fatalf("three nodes give %v", short.Status)
	}
	again, _ := Solve(context.Background(), p, Options{Nodes: 3})
	if fmt.Sprint(again.Choices, again.Levels) != fmt.Sprint(short.Choices, short.Levels) {
		t.Error("the node limit stops at different answers")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	start := time.Now()
	stopped, err := Solve(ctx, p, Options{})
	if err != nil || stopped.Status != Feasible {
		t.Fatalf("cancelled: %v %v", stopped, err)
	}
	t.Logf("cancelled after %v", time.Since(start))
}

func TestProgressIsReported(t *testing.T) {
	var seen []Progress
	_, err := Solve(context.Background(), Generate(1, 40, 6, Medium), Options{Progress: func(p Progress) { seen = append(seen, p) }})
	if err != nil || len(seen) == 0 {
		t.Fatalf("%d reports, %v", len(seen), err)
	}
	for k := 1; k < len(seen); k++ {
		if seen[k].Nodes < seen[k-1].Nodes {
			t.Errorf("nodes go back: %+v", seen)
		}
	}
}
