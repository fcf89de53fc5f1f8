package sweep

import (
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Axis is one input that varies.
type Axis struct {
	Field string
	// Values are the values of a list; Words those of names, whose value is their
	// place in the list.
	Values []float64
	Words  []string

	count       int // of a list or a range
	first, last float64
	spread      *bowrollv1.SweepDistribution
	way         path
}

// Set sets the axis's field of a case to one of its values.
func (a *Axis) Set(c *bowrollv1.TakeoffCase, v float64) { a.way.set(c, a.way.value(a, v)) }

// Ends are the least and the greatest value that the axis can have.
func (a *Axis) Ends() (least, greatest float64) {
	if a.spread != nil {
		return a.spread.GetLeastValue(), a.spread.GetGreatestValue()
	}
	least = a.at(0)
	greatest = least
	for i := range a.count {
		if a.Values == nil && i != 0 && i != a.count-1 {
			continue
		}
		least, greatest = min(least, a.at(i)), max(greatest, a.at(i))
	}
	return least, greatest
}

// Count is how many values a list or a range has, 0 for drawn ones.
func (a *Axis) Count() int { return a.count }

// at is the i-th value of a list or a range.
func (a *Axis) at(i int) float64 {
	switch {
	case a.Values != nil:
		return a.Values[i]
	case a.Words != nil:
		return float64(i)
	case i == a.count-1:
		return a.last // exactly, whatever rounding would make of it
	}
	return a.first + float64(float64(i)*((a.last-a.first)/float64(a.count-1)))
}

// Plan leads from the index of a row to its inputs.
type Plan struct {
	Axes []Axis
	Rows int
	// Sample says that rows are drawn, and what one has the next need not be near.
	Sample bool
	latin  bool
	seed   uint64
}

// NewPlan makes the plan of a spec without faults.
func NewPlan(s *bowrollv1.SweepSpec) *Plan {
	known := fieldsOfCase()
	p := &Plan{
		Axes: make([]Axis, len(s.GetAxes())), Rows: int(s.GetRowCount()), Sample: s.GetMethod() != bowrollv1.SweepMethod_SWEEP_METHOD_GRID,
		latin: s.GetMethod() == bowrollv1.SweepMethod_SWEEP_METHOD_LATIN_HYPERCUBE, seed: DefaultSeed,
	}
	if s.Seed != nil {
		p.seed = uint64(s.GetSeed())
	}
	rows := 1
	for i, asked := range s.GetAxes() {
		a := &p.Axes[i]
		*a = Axis{Field: asked.GetField(), Values: asked.GetValues(), Words: asked.GetWords(), spread: asked.GetDistribution(), way: known[asked.GetField()]}
		a.count = max(len(a.Values), len(a.Words))
		if r := asked.GetRange(); r != nil {
			a.first, a.last, a.count = r.GetFirstValue(), r.GetLastValue(), int(r.GetCount())
		}
		rows *= max(1, a.count)
	}
	if !p.Sample {
		p.Rows = rows
	}
	return p
}

// Inputs writes the values of the axes in a row. In a grid the last axis varies
// first.
func (p *Plan) Inputs(row int, into []float64) {
	if !p.Sample {
		for i := len(p.Axes) - 1; i >= 0; i-- {
			a := &p.Axes[i]
			into[i] = a.at(row % a.count)
			row /= a.count
		}
		return
	}
	for i := range p.Axes {
		a := &p.Axes[i]
		u := p.draw(i, row)
		if a.spread != nil {
			into[i] = quantile(a.spread, u)
		} else {
			into[i] = a.at(min(int(u*float64(a.count)), a.count-1))
		}
	}
}
