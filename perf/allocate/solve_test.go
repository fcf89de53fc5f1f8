package allocate

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"

	"bowroll/testdata/longer"
)

// tiny makes a problem small enough to enumerate, with everything in it: several
// sites, transfers, groups, reserves, crews, odd draws, equal values.
func tiny(r *rand.Rand) *Problem {
	p := &Problem{}
	sites := 1 + r.IntN(5)/4
	for k := range sites {
		s := Site{ID: fmt.Sprint("site-", k), Reserve: max(0, r.IntN(6)-3)}
		if r.IntN(3) > 0 {
			s.Crews = &Crews{Teams: r.IntN(4), UnitS: int64(60 + 60*r.IntN(3)), HoldMinS: int64(60 * r.IntN(3))}
			s.Crews.HoldMaxS = s.Crews.HoldMinS + int64(120*r.IntN(5))
		}
		p.Sites = append(p.Sites, s)
	}
	lots := r.IntN(4)
	for l := range lots {
		p.Lots = append(p.Lots, Lot{ID: fmt.Sprint("lot-", l), Site: r.IntN(sites), Available: r.IntN(9), Reserve: max(0, r.IntN(5)-3), ExpiryRank: r.IntN(3)})
	}
	if sites > 1 && r.IntN(2) == 0 {
		p.Transfers = append(p.Transfers, Transfer{From: 0, To: 1, Lot: -1, MaxUnits: r.IntN(6), ArriveS: int64(r.IntN(200) - 100)})
	}
	n := 1 + r.IntN(6)
	group := r.IntN(3) == 0
	if group {
		g := Group{ID: "range", HeldStay: r.IntN(2) == 0}
		for s := range 2 + r.IntN(2) {
			sp := Spot{ID: fmt.Sprint("spot-", s)}
			if r.IntN(3) == 0 {
				at := int64(60 * s)
				sp.LaunchS = &at
			} else if s > 0 && r.IntN(3) == 0 {
				sp.Behind = fmt.Sprint("spot-", s-1)
			}
			g.Spots = append(g.Spots, sp)
		}
		if r.IntN(2) == 0 {
			g.Neighbours = []Neighbour{{"spot-0", "spot-1", int64(9 + r.IntN(6))}}
		}
		p.Groups = append(p.Groups, g)
	}
	at := int64(0)
	for i := range n {
		s := Sortie{ID: fmt.Sprint("s", i), Site: r.IntN(sites), Priority: r.IntN(4), LaunchS: at, HalfSpanMM: int64(4 + r.IntN(4)), Must: r.IntN(15) == 0}
		at += int64(60 * r.IntN(3))
		if group && r.IntN(2) == 0 {
			s.Site, s.Group = 0, "range"
		}
		for f := range r.IntN(5) {
			fit := Fit{ID: fmt.Sprint("f", f), MarginMM: int64(10_000 * r.IntN(7))}
			if s.Group != "" {
				fit.Spot = p.Groups[0].Spots[r.IntN(len(p.Groups[0].Spots))].ID
			}
			for l := range lots {
				if r.IntN(2) == 0 && len(fit.Draws) < 2 {
					fit.Draws = append(fit.Draws, Draw{l, 1 + r.IntN(4)})
				}
			}
			s.Fits = append(s.Fits, fit)
		}
		if r.IntN(2) == 0 && len(s.Fits) > 0 {
			s.Keep = s.Fits[r.IntN(len(s.Fits))].ID
		}
		p.Sorties = append(p.Sorties, s)
	}
	if r.IntN(4) == 0 {
		p.KeepAfter = 1 + r.IntN(4)
	}
	return p
}

func TestSolveAgreesWithEnumeration(t *testing.T) {
	t.Parallel()
	infeasible := 0
	for seed := range uint64(longer.Count(t, "BOWROLL_ALLOCATIONS", 4000)) {
		p := tiny(rand.New(rand.NewPCG(seed, 1)))
		want := enumerate(p)
		got, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if want == nil {
			infeasible++
			if got.Status != Infeasible {
				t.Fatalf("seed %d: %v, enumeration finds nothing", seed, got.Status)
			}
			continue
		}
		if got.Status != Optimal || !got.Unique {
			t.Fatalf("seed %d: %v, unique %v", seed, got.Status, got.Unique)
		}
		if v := Value(p, want); v != got.Objective {
			t.Fatalf("seed %d: objective %+v, want %+v", seed, got.Objective, v)
		}
		for i := range want {
			if want[i] != got.Choices[i] {
				t.Fatalf("seed %d: choices %v, want %v", seed, got.Choices, want)
			}
		}
	}
	if infeasible < 20 {
		t.Errorf("only %d infeasible instances: the generator has gone soft", infeasible)
	}
}
