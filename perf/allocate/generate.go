package allocate

import (
	"fmt"
	"math/rand/v2"
)

// A Tightness says how scarce units and crews are in a generated cycle.
type Tightness int

const (
	Loose  Tightness = iota // more than enough of both
	Medium                  // four units for five wanted
	Tight                   // one for two
	Crewed                  // enough units, crews for two of three
)

// Tightnesses are all of them, in order.
var Tightnesses = []Tightness{Loose, Medium, Tight, Crewed}

func (t Tightness) String() string {
	return [...]string{"loose", "medium", "tight", "crewed"}[t]
}

// Generate makes a random cycle for tests and benchmarks; the same arguments give
// the same problem everywhere.
//
// Units come in two types, lots in three grain temperatures (the warmer, the fewer
// pairs are needed), odd units included. A sortie needs none to three pairs of one
// type; pairs of two lots that expire one after the other may be mixed. Priorities
// run from 1 to 9, margins to 80 m in millimetres.
func Generate(seed uint64, sorties, lots int, t Tightness) *Problem {
	r := rand.New(rand.NewPCG(seed, uint64(1000*sorties+10*lots+int(t))))
	p := &Problem{}
	heat := make([]int, lots)
	kind := make([]int, lots)
	for l := range lots {
		heat[l] = r.IntN(3)
		kind[l] = r.IntN(2)
		p.Lots = append(p.Lots, Lot{ID: fmt.Sprintf("lot-%02d", l+1), ExpiryRank: l})
	}
	// Both types are there wherever two lots are.
	if lots > 1 {
		kind[0], kind[1] = 0, 1
	}
	wanted := [2]int{}
	at := int64(0)
	for i := range sorties {
		s := Sortie{ID: fmt.Sprintf("sortie-%03d", i+1), Priority: 1 + r.IntN(9), LaunchS: at}
		at += int64(45 + 15*r.IntN(4))
		need := []int{0, 1, 1, 1, 2, 2, 2, 3}[r.IntN(8)]
		k := r.IntN(min(2, lots))
		wanted[k] += 2 * need
		s.Fits = fitsFor(r, p, need, k, heat, kind)
		p.Sorties = append(p.Sorties, s)
	}
	stock(r, p, wanted, kind, map[Tightness]float64{Loose: 1.3, Medium: 0.8, Tight: 0.5, Crewed: 1.1}[t])

	const unitS, hold = 180, 2400
	share := map[Tightness]float64{Loose: 1.5, Medium: 1, Tight: 0.9, Crewed: 0.66}[t]
	work := share * float64(unitS*(wanted[0]+wanted[1]))
	teams := max(1, int(work/float64(at+hold)+0.5))
	p.Sites = []Site{{ID: "deck-one", Crews: &Crews{Teams: teams, UnitS: unitS, HoldMinS: 600, HoldMaxS: 600 + hold}}}
	return p
}

// fitsFor lists what a sortie that needs so many pairs (from a lot of middling
// heat) can be fitted with.
func fitsFor(r *rand.Rand, p *Problem, need, k int, heat, kind []int) []Fit {
	var fits []Fit
	base := 2_000 + r.Int64N(12_000)
	gain := 15_000 + r.Int64N(15_000)
	add := func(f Fit, warmth, pairs int) {
		// Three pairs from a lot of middling heat are worth 6, of a warm one 7.
		over := pairs*(5+warmth) - need*6
		if pairs > 0 && over < 0 || pairs < need-1 {
			return
		}
		f.MarginMM = base + int64(over)*gain/6 + r.Int64N(900)
		fits = append(fits, f)
	}
	if need == 0 {
		add(Fit{ID: "none"}, 0, 0)
	}
	for pairs := max(1, need-1); pairs <= min(3, need+1); pairs++ {
		for l := range p.Lots {
			if kind[l] != k {
				continue
			}
			add(Fit{ID: fmt.Sprintf("%d of %s", 2*pairs, p.Lots[l].ID), Draws: []Draw{{l, 2 * pairs}}}, heat[l], pairs)
			next := -1
			for m := l + 1; m < len(p.Lots) && next < 0; m++ {
				if kind[m] == k {
					next = m
				}
			}
			for a := 1; a < pairs && next >= 0; a++ {
				add(Fit{ID: fmt.Sprintf("%d of %s, %d of %s", 2*a, p.Lots[l].ID, 2*(pairs-a), p.Lots[next].ID),
					Draws: []Draw{{l, 2 * a}, {next, 2 * (pairs - a)}}}, min(heat[l], heat[next]), pairs)
			}
		}
	}
	return fits
}

// stock spreads a share of what is wanted over the lots of each type.
func stock(r *rand.Rand, p *Problem, wanted [2]int, kind []int, share float64) {
	for k, n := range wanted {
		var of []int
		for l := range p.Lots {
			if kind[l] == k {
				of = append(of, l)
			}
		}
		for left := int(share * float64(n)); left > 0 && len(of) > 0; {
			take := min(left, 1+r.IntN(4))
			p.Lots[of[r.IntN(len(of))]].Available += take
			left -= take
		}
	}
}
