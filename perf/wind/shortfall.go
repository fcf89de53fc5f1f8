package wind

import (
	"cmp"
	"container/heap"
	"math"
	"slices"
)

// shortfall gives the course and speed whose worst miss of any limit is the
// least, and the loads without which a course would open.
func (s *solver) shortfall(q CourseQuery) *Shortfall {
	miss, ok := s.leastMiss()
	if !ok {
		return &Shortfall{}
	}
	// Eased by the least miss, and a little more than it is known to, some
	// course is open: the nearest of them is the best achievable.
	best := s.option(s.nearest(s.open(miss+missTolerance), miss+missTolerance, leastChange))
	short := &Shortfall{Best: best, WorstMPS: miss}
	for _, m := range best.Margins {
		if m.MarginMPS < -10*slack {
			short.Missed = append(short.Missed, m)
		}
	}
	slices.SortStableFunc(short.Missed, func(a, b Margin) int { return cmp.Compare(a.MarginMPS, b.MarginMPS) })
	if len(q.Loads) > 1 {
		short.OpenWithout = s.openWithout(q)
	}
	return short
}

// missTolerance is how well, m/s, the least miss is found.
const missTolerance = 1e-5

// openWithout names the loads of which holding one opens a course. Only a load
// that sets some limit can be one.
func (s *solver) openWithout(q CourseQuery) []string {
	var names []string
	for i, load := range q.Loads {
		d := s.demand
		if d.headwind.load != load.Name && d.crosswind.load != load.Name && d.tailwind.load != load.Name && d.ceiling.load != load.Name {
			continue
		}
		without := *s
		without.demand = demandOf(slices.Delete(slices.Clone(q.Loads), i, i+1))
		if len(without.open(0)) > 0 {
			names = append(names, load.Name)
		}
	}
	return names
}

// miss gives how far every limit must be eased for some speed to keep them.
func (s *solver) miss(t terms, room float64) float64 {
	fits := func(ease float64) bool {
		least, greatest := s.speeds(t, room, ease)
		return least <= greatest
	}
	low, high := 0.0, 1.0
	if fits(0) {
		return 0
	}
	for !fits(high) && high < 1e6 {
		low, high = high, 2*high
	}
	for high-low > 1e-9 {
		middle := low + float64((high-low)/2)
		if fits(middle) {
			high = middle
		} else {
			low = middle
		}
	}
	return high
}

// A part is a range of courses and the least miss that any of them can have.
type part struct {
	span
	atFrom, atTo terms
	atBest       float64
}

// parts is a heap, the most promising first, then by course.
type parts []part

func (p parts) Len() int { return len(p) }
func (p parts) Less(i, j int) bool {
	if p[i].atBest != p[j].atBest {
		return p[i].atBest < p[j].atBest
	}
	return p[i].from < p[j].from
}
func (p parts) Swap(i, j int) { p[i], p[j] = p[j], p[i] }
func (p *parts) Push(x any)   { *p = append(*p, x.(part)) }
func (p *parts) Pop() any {
	last := (*p)[len(*p)-1]
	*p = (*p)[:len(*p)-1]
	return last
}

// leastMiss gives the least easing that opens some course, to missTolerance, by
// branch and bound over the courses. ok is false where all are closed.
func (s *solver) leastMiss() (miss float64, ok bool) {
	var queue parts
	miss = math.Inf(1)
	add := func(c span, atFrom, atTo terms) {
		best, _ := bounds(atFrom, atTo)
		p := part{c, atFrom, atTo, s.miss(best, c.room)}
		miss = min(miss, s.miss(atFrom, c.room), s.miss(atTo, c.room))
		if p.atBest < miss-missTolerance {
			heap.Push(&queue, p)
		}
	}
	for i, from := range s.nodes[:len(s.nodes)-1] {
		to := s.nodes[i+1]
		if room := s.query.room((from + to) / 2); room >= s.least {
			add(span{from, to, room}, s.at(from), s.at(to))
		}
	}
	for len(queue) > 0 {
		p := heap.Pop(&queue).(part)
		if p.atBest >= miss-missTolerance || p.to-p.from <= finestDeg {
			break
		}
		middle := p.from + float64((p.to-p.from)/2)
		at := s.at(middle)
		add(span{p.from, middle, p.room}, p.atFrom, at)
		add(span{middle, p.to, p.room}, at, p.atTo)
	}
	return miss, !math.IsInf(miss, 1)
}
