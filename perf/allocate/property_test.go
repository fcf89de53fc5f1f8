package allocate

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// cycle draws a generated cycle of a size that is quick to solve.
func cycle(t *rapid.T) *Problem {
	return Generate(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 30).Draw(t, "sorties"), rapid.IntRange(1, 6).Draw(t, "lots"),
		rapid.SampledFrom(Tightnesses).Draw(t, "tightness"))
}

func solved(t *rapid.T, p *Problem) *Result {
	r, err := Solve(context.Background(), p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Status != Optimal || !r.Unique {
		t.Fatalf("status %v after %d nodes", r.Status, r.Nodes)
	}
	return r
}

// The order in which lots are listed means nothing.
func TestLotsCanBeListedInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := cycle(t)
		want := solved(t, p)
		perm := rapid.Permutation(indices(len(p.Lots))).Draw(t, "order")
		q := copyOf(t, p)
		for to, from := range perm {
			q.Lots[to] = p.Lots[from]
		}
		at := make([]int, len(perm))
		for to, from := range perm {
			at[from] = to
		}
		for i := range q.Sorties {
			for f := range q.Sorties[i].Fits {
				for d := range q.Sorties[i].Fits[f].Draws {
					q.Sorties[i].Fits[f].Draws[d].Lot = at[q.Sorties[i].Fits[f].Draws[d].Lot]
				}
			}
		}
		if got := solved(t, q); !reflect.DeepEqual(got.Choices, want.Choices) {
			t.Fatalf("choices %v became %v", want.Choices, got.Choices)
		}
	})
}

// Multiplying priorities, or moving all times, changes no choice.
func TestScalesDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := cycle(t)
		want := solved(t, p)
		q := copyOf(t, p)
		factor, shift := rapid.IntRange(2, 1000).Draw(t, "factor"), rapid.Int64Range(-100_000, 100_000).Draw(t, "shift")
		for i := range q.Sorties {
			q.Sorties[i].Priority *= factor
			q.Sorties[i].LaunchS += shift
		}
		got := solved(t, q)
		if !reflect.DeepEqual(got.Choices, want.Choices) || got.Objective.Priority != int64(factor)*want.Objective.Priority {
			t.Fatalf("choices %v became %v", want.Choices, got.Choices)
		}
	})
}

// More of anything never makes the plan worse; a sortie more never lowers the
// priority; what is left over can be taken away.
func TestMoreIsNeverWorse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := cycle(t)
		base := solved(t, p)
		q := copyOf(t, p)
		q.Lots[rapid.IntRange(0, len(q.Lots)-1).Draw(t, "lot")].Available += rapid.IntRange(1, 4).Draw(t, "units")
		q.Sites[0].Crews.Teams += rapid.IntRange(0, 2).Draw(t, "teams")
		more := solved(t, q)
		if compare(q, more.Choices, base.Choices) > 0 {
			t.Fatalf("with more, %+v became %+v", base.Objective, more.Objective)
		}
		less := copyOf(t, p)
		for l, n := range base.LotUse(p) {
			less.Lots[l].Available = n
		}
		if got := solved(t, less); !reflect.DeepEqual(got.Choices, base.Choices) {
			t.Fatalf("taking away what is left over changes the plan: %v became %v", base.Choices, got.Choices)
		}
	})
}

// Fixing a sortie to what it was given leaves the plan as it is.
func TestAnAnswerAnswersItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := cycle(t)
		base := solved(t, p)
		q := copyOf(t, p)
		i := rapid.IntRange(0, len(q.Sorties)-1).Draw(t, "sortie")
		if f := base.Choices[i].Fit; f != Held {
			q.Sorties[i].Fits = q.Sorties[i].Fits[f : f+1]
			q.Sorties[i].Must = true
		} else {
			q.Sorties[i].Fits = nil
		}
		if got := solved(t, q); got.Objective != base.Objective {
			t.Fatalf("%+v became %+v", base.Objective, got.Objective)
		}
	})
}

// Verify notices whatever is changed in a result.
func TestVerifyRefusesWhatIsNotTrue(t *testing.T) {
	ctx := context.Background()
	refused := 0
	for seed := range uint64(40) {
		p := Generate(seed, 14, 4, Tightnesses[seed%4])
		changes := map[string]func(*Result){
			"a choice":     func(r *Result) { r.Choices[seed%14].Fit ^= -1 },
			"an objective": func(r *Result) { r.Objective.Units-- },
			"a value":      func(r *Result) { r.Levels[2].Value++ },
			"a bound":      func(r *Result) { r.Levels[0].Bound-- },
			"the proof":    func(r *Result) { r.Proof = nil },
			"a worse plan": func(r *Result) { worsen(p, r) },
			"the ties":     func(r *Result) { r.Choices = nil },
		}
		for name, change := range changes {
			r, err := Solve(ctx, p, Options{})
			if err != nil {
				t.Fatal(err)
			}
			before, _ := json.Marshal(r)
			change(r)
			if after, _ := json.Marshal(r); string(after) == string(before) {
				continue
			}
			if err := Verify(p, r); err == nil {
				t.Errorf("seed %d: %s was changed and nobody noticed", seed, name)
			}
			refused++
		}
	}
	if refused < 200 {
		t.Errorf("only %d changes were tried", refused)
	}
}

// worsen turns an optimal result into one that is feasible, consistent in itself
// and not optimal: only the proof can tell.
func worsen(p *Problem, r *Result) {
	for i := range r.Choices {
		if r.Choices[i].Fit == Held {
			continue
		}
		r.Choices[i].Fit = Held
		r.Objective = Value(p, r.Choices)
		for k := range r.Levels {
			l := &r.Levels[k]
			l.Value, _ = r.Objective.level(l.Name)
			l.Bound = l.Value
			r.Proof.Levels[k].Limit = l.Value
		}
		return
	}
}

func TestBadProblemsListEverything(t *testing.T) {
	at := int64(-5)
	p := &Problem{
		Sites:     []Site{{ID: "deck", Reserve: -1, Crews: &Crews{Teams: -1, UnitS: 0, HoldMinS: 600, HoldMaxS: 300}}},
		Lots:      []Lot{{ID: "a", Available: -3}, {ID: "a", Site: 4}, {Reserve: -1, ExpiryRank: -1}},
		Transfers: []Transfer{{From: 0, To: 0, Lot: 9, MaxUnits: -1}},
		Groups: []Group{{ID: "range", Spots: []Spot{{ID: "1", Behind: "3"}, {ID: "2", Behind: "1"}, {ID: "3", Behind: "2", LaunchS: &at, Takes: []string{"nobody"}}, {ID: "4", Behind: "nowhere"}},
			Neighbours: []Neighbour{{"1", "9", -4}}}},
		Sorties: []Sortie{
			{ID: "s", Priority: -1, LaunchS: 100, Fits: []Fit{{ID: "f", Draws: []Draw{{7, 2}, {0, 0}, {0, 1}}}, {ID: "f"}}},
			{ID: "s", LaunchS: 50, Group: "elsewhere"},
			{ID: "t", LaunchS: 100, Group: "range", Spot: "6", Fits: []Fit{{ID: "f", Spot: "7"}}},
		},
		KeepAfter: 9,
	}
	_, err := Solve(context.Background(), p, Options{})
	var invalid *InvalidError
	if !errors.As(err, &invalid) {
		t.Fatalf("error is %v", err)
	}
	for _, want := range []string{
		"Sites[0].Reserve is -1", "Crews.Teams is -1", "Crews.UnitS is 0", "Crews.HoldMaxS is 300",
		"Lots[0].Available is -3", `Lots[1].ID is "a"`, "Lots[1].Site is 4", `Lots[2].ID is ""`, "Lots[2].Reserve is -1", "Lots[2].ExpiryRank is -1",
		"Transfers[0].To is 0", "Transfers[0].MaxUnits is -1", "Transfers[0].Lot is 9",
		"KeepAfter is 9", "in a ring (1 behind 3 behind 2 behind 1)", `Takes[0] is "nobody"`, `Behind is "nowhere"`, `Neighbours[0].B is "9"`, "GapMM is -4",
		"Sorties[0].Priority is -1", "Draws[0].Lot is 7: unknown lot", "Draws[1].Units is 0", "Draws[2].Lot is 0: drawn twice", `Fits[1].ID is "f"`,
		`Sorties[1].ID is "s"`, "Sorties[1].LaunchS is 50", `Sorties[1].Group is "elsewhere"`, `Sorties[2].Spot is "6"`, `Fits[0].Spot is "7"`,
	} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("nothing says %q", want)
		}
	}
	if len(invalid.Violations) != 29 {
		t.Errorf("%d violations, want 29:\n%v", len(invalid.Violations), err)
	}
}

func TestSalvageHoldsTheSortiesAtFault(t *testing.T) {
	p := Generate(2, 12, 3, Medium)
	p.Sorties[3].Fits[0].Draws = []Draw{{99, 2}}
	p.Sorties[5].ID = p.Sorties[4].ID
	p.Sorties[7].LaunchS = -10
	q, found, err := Salvage(p)
	if err != nil || len(found) != 3 {
		t.Fatalf("%v, %v", found, err)
	}
	r := optimal(t, q)
	for _, i := range []int{3, 5, 7} {
		if r.Choices[i].Fit != Held {
			t.Errorf("sortie %d is launched", i)
		}
	}
	if r.Objective.Priority == 0 {
		t.Error("the rest is not planned")
	}
	p.Lots[0].Available = -1
	if _, _, err := Salvage(p); err == nil {
		t.Error("a negative stock spoils everything")
	}
}

func TestTooLongAQueueIsRefused(t *testing.T) {
	p := &Problem{}
	for i := range MaxSorties + 1 {
		p.Sorties = append(p.Sorties, Sortie{ID: fmt.Sprint(i)})
	}
	if _, err := Solve(context.Background(), p, Options{}); err == nil || !strings.Contains(err.Error(), "must be at most 5000") {
		t.Errorf("error is %v", err)
	}
}

// FuzzSolve feeds whatever decodes to a problem: an error or a verified answer,
// never a panic.
func FuzzSolve(f *testing.F) {
	for seed := range uint64(20) {
		text, err := json.Marshal(tiny(rand.New(rand.NewPCG(seed, 3))))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var p Problem
		if json.Unmarshal(text, &p) != nil || len(p.Sorties) > 50 {
			return
		}
		r, err := Solve(context.Background(), &p, Options{Nodes: 200})
		var invalid *InvalidError
		if err != nil && !errors.As(err, &invalid) {
			t.Fatal(err)
		}
		if err == nil && r.Choices != nil {
			if _, err := Explain(&p, r); err != nil {
				t.Fatal(err)
			}
		}
	})
}

func copyOf(t *rapid.T, p *Problem) *Problem {
	text, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	q := &Problem{}
	if err := json.Unmarshal(text, q); err != nil {
		t.Fatal(err)
	}
	return q
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}
