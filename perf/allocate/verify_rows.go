package allocate

import (
	"fmt"
	"math"
)

// A checkedRow is a row of a proof, stated anew.
type checkedRow struct {
	index []int // options, counted over all sorties
	coef  []int64
	rhs   int64
	size  float64 // greatest figure in the row
	reach float64 // the most that one multiple of it adds to a bound
	level int     // the last level that it takes as held, or -1
}

// load states all rows of a proof.
func (v *verifier) load(r *Result) error {
	if r.Proof == nil {
		return nil
	}
	for n := range r.Proof.Rows {
		pr := &r.Proof.Rows[n]
		state := v.row
		if pr.Kind == "blend" {
			state = v.blend
		}
		row, err := state(r, pr)
		if err != nil {
			return fmt.Errorf("row %d of the proof: %w", n, err)
		}
		coef := 0.0
		for _, c := range row.coef {
			coef = max(coef, math.Abs(float64(c)))
		}
		row.reach = math.Abs(float64(row.rhs)) + float64(coef*float64(len(v.opts)+1))
		v.rows = append(v.rows, row)
	}
	return nil
}

// row states a constraint of the problem.
func (v *verifier) row(r *Result, pr *ProofRow) (checkedRow, error) {
	out := checkedRow{level: -1}
	if pr.Kind == "level" {
		out.level = pr.A
	}
	rhs, err := v.rhs(r, pr)
	if err != nil {
		return out, err
	}
	if pr.Num < 0 || pr.Den < 1 || pr.Num > 1_000_000 || pr.Den > 1_000_000_000_000 {
		return out, fmt.Errorf("fraction %d/%d", pr.Num, pr.Den)
	}
	floor := func(x int64) int64 {
		x *= pr.Num
		q := x / pr.Den
		if x < q*pr.Den {
			q--
		}
		return q
	}
	out.rhs = floor(rhs)
	out.size = math.Abs(float64(out.rhs))
	for i := range v.opts {
		for o := range v.opts[i] {
			c := floor(v.entry(i, &v.opts[i][o], pr))
			if c == 0 {
				continue
			}
			out.index = append(out.index, v.first[i]+o)
			out.coef = append(out.coef, c)
			out.size = max(out.size, math.Abs(float64(c)))
		}
	}
	return out, nil
}

func (v *verifier) rhs(r *Result, pr *ProofRow) (int64, error) {
	p := v.p
	group := func() *Group {
		if pr.A >= 0 && pr.A < len(p.Groups) {
			return &p.Groups[pr.A]
		}
		return &Group{}
	}
	switch {
	case pr.Kind == "lot" && pr.A >= 0 && pr.A < len(p.Lots):
		return int64(max(0, p.Lots[pr.A].Available-p.Lots[pr.A].Reserve)), nil
	case pr.Kind == "reserve" && pr.A >= 0 && pr.A < len(p.sites()):
		sum := -p.sites()[pr.A].Reserve
		for _, l := range p.Lots {
			if l.Site == pr.A {
				sum += l.Available
			}
		}
		return int64(max(0, sum)), nil
	case pr.Kind == "transfer" && pr.A >= 0 && pr.A < len(p.Transfers):
		return int64(p.Transfers[pr.A].MaxUnits), nil
	case pr.Kind == "spot" && pr.B >= 0 && pr.B < len(group().Spots):
		return 1, nil
	case pr.Kind == "neighbour" && pr.B >= 0 && pr.B < len(group().Neighbours):
		return group().Neighbours[pr.B].GapMM, nil
	case pr.Kind == "behind" && pr.B >= 0 && pr.B < len(group().Spots) && group().HeldStay && group().Spots[pr.B].Behind != "":
		return 1, nil
	case pr.Kind == "crews" && pr.A >= 0 && pr.A < len(p.sites()) && p.sites()[pr.A].Crews != nil && pr.B <= pr.C:
		c := p.sites()[pr.A].Crews
		return int64(c.Teams) * ((int64(pr.C) - c.HoldMinS) - (int64(pr.B) - c.HoldMaxS)) / c.UnitS, nil
	case pr.Kind == "level" && pr.A >= 0 && pr.A < len(v.names):
		x, maximise := r.Objective.level(v.names[pr.A])
		if maximise {
			x = -x
		}
		return x, nil
	}
	return 0, fmt.Errorf("unknown constraint %+v", *pr)
}

// entry is what one option takes of a constraint.
func (v *verifier) entry(i int, o *proofOption, pr *ProofRow) int64 {
	p, s := v.p, &v.p.Sorties[i]
	var draws []Draw
	if o.Fit != Held {
		draws = s.Fits[o.Fit].Draws
	}
	sum := int64(0)
	switch pr.Kind {
	case "lot":
		for _, d := range draws {
			if d.Lot == pr.A {
				sum += int64(d.Units)
			}
		}
	case "reserve":
		for _, d := range draws {
			if p.Lots[d.Lot].Site == pr.A {
				sum += int64(d.Units)
			}
		}
	case "transfer":
		for _, d := range draws {
			if p.Lots[d.Lot].Site != s.Site && p.transfer(d.Lot, s.Site, o.at) == pr.A {
				sum += int64(d.Units)
			}
		}
	case "crews":
		if s.Site == pr.A && o.at >= int64(pr.B) && o.at <= int64(pr.C) {
			sum = o.units
		}
	case "level":
		sum = -o.level[pr.A]
	default:
		if o.Spot < 0 || s.Group != p.Groups[pr.A].ID {
			return 0
		}
		g := &p.Groups[pr.A]
		id := g.Spots[o.Spot].ID
		switch {
		case pr.Kind == "spot" && int(o.Spot) == pr.B:
			sum = 1
		case pr.Kind == "neighbour" && (g.Neighbours[pr.B].A == id || g.Neighbours[pr.B].B == id):
			sum = s.HalfSpanMM
		case pr.Kind == "behind" && o.Fit != Held && int(o.Spot) == pr.B:
			sum = 1
		case pr.Kind == "behind" && o.Fit == Held && g.Spots[pr.B].Behind == id:
			sum = 1
		}
	}
	return sum
}

// blend states a cutting plane by the formula that is given for it in cuts.go,
// with sums so bounded that nothing can overflow.
func (v *verifier) blend(r *Result, pr *ProofRow) (checkedRow, error) {
	d := pr.Den
	if d < 2 || d > 10_000 || len(pr.Shift) != len(v.opts) {
		return checkedRow{}, fmt.Errorf("blend over %d with %d shifts", d, len(pr.Shift))
	}
	mod := func(x int64) int64 { return ((x % d) + d) % d }
	total, size := int64(0), 0.0
	for _, n := range pr.Shift {
		total += n
		size += math.Abs(float64(n))
	}
	for _, m := range pr.Blend {
		if m.Row < 0 || int(m.Row) >= len(v.rows) || m.Value < 0 || m.Value >= d {
			return checkedRow{}, fmt.Errorf("blend of %d/%d of row %d", m.Value, d, m.Row)
		}
		total += m.Value * v.rows[m.Row].rhs
		size += float64(float64(m.Value) * v.rows[m.Row].size)
	}
	if size*float64(d) > 1<<60 {
		return checkedRow{}, fmt.Errorf("blend too great to check")
	}
	f := mod(total)
	if f == 0 {
		return checkedRow{}, fmt.Errorf("blend without a fraction")
	}
	out := checkedRow{level: -1, rhs: (d - f) * ((total - f) / d)}
	sum := make([]int64, v.total)
	slack := make([]int64, v.total)
	for _, m := range pr.Blend {
		w := &v.rows[m.Row]
		out.level = max(out.level, w.level)
		e := max(0, m.Value-f) // F of the row's slack
		out.rhs -= e * w.rhs
		for n, j := range w.index {
			sum[j] += m.Value * w.coef[n]
			slack[j] += e * w.coef[n]
		}
	}
	common := int64(0)
	for i := range v.opts {
		least := int64(math.MaxInt64)
		from := v.first[i]
		for j := from; j < from+len(v.opts[i]); j++ {
			a := sum[j] + pr.Shift[i]
			sum[j] = (d-f)*((a-mod(a))/d) + max(0, mod(a)-f) - slack[j]
			least = min(least, sum[j])
		}
		out.rhs -= least
		for j := from; j < from+len(v.opts[i]); j++ {
			if sum[j] -= least; sum[j] != 0 {
				out.index = append(out.index, j)
				out.coef = append(out.coef, sum[j])
				for a := sum[j]; a != 0; {
					common, a = a, common%a
				}
			}
		}
	}
	if common == 0 {
		return checkedRow{}, fmt.Errorf("empty blend")
	}
	for n := range out.coef {
		out.coef[n] /= common
		out.size = max(out.size, float64(out.coef[n]))
	}
	out.rhs = (out.rhs - ((out.rhs%common)+common)%common) / common
	out.size = max(out.size, math.Abs(float64(out.rhs)))
	return out, nil
}
