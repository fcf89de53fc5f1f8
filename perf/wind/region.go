package wind

import (
	"cmp"
	"math"
	"slices"
)

// A solver holds a query and what does not change while it is answered.
type solver struct {
	query                CourseQuery
	demand               demand
	states               []state
	least, greatest      float64 // the ship's speeds
	sinOffset, cosOffset float64
	nodes                []float64 // ascending, from 0 to 360
}

func newSolver(q CourseQuery) *solver {
	s := &solver{
		query:    q,
		demand:   demandOf(q.Loads),
		states:   q.Wind.states(),
		least:    q.Ship.least(),
		greatest: q.Ship.GreatestMPS,
	}
	s.sinOffset, s.cosOffset = sincos(q.Ship.AxisOffsetDeg)
	s.nodes = s.critical()
	return s
}

// critical gives the courses between which every part of the wind is level, or
// rises or falls all the way, and no closed sector begins or ends: where either
// edge or the middle of the wind's spread stands ahead, astern or abeam of the
// axis or the keel. The present course and
// its reverse are among them, so that between two of them the change of course
// is monotone too.
func (s *solver) critical() []float64 {
	q := s.query
	nodes := []float64{0, 360, circle(q.PresentCourseDeg), circle(q.PresentCourseDeg + 180)}
	for _, st := range s.states {
		for quarter := 0.0; quarter < 360; quarter += 90 {
			for _, edge := range [3]float64{-q.Wind.SpreadDeg, 0, q.Wind.SpreadDeg} {
				onKeel := st.FromDeg - quarter - edge
				nodes = append(nodes, circle(onKeel), circle(onKeel-q.Ship.AxisOffsetDeg))
			}
		}
		if s.demand.headwind.some() {
			if course, _, ok := LineUp(st.Vector, q.Ship.AxisOffsetDeg, s.demand.headwind.mps); ok {
				nodes = append(nodes, course)
			}
		}
	}
	for _, sector := range q.Closed {
		nodes = append(nodes, circle(sector.FromDeg), circle(sector.ToDeg))
	}
	slices.Sort(nodes)
	return slices.Compact(nodes)
}

// A span is a range of courses between two neighbouring nodes or inside one,
// and the greatest speed that sea room leaves there.
type span struct {
	from, to float64
	room     float64
}

// The finest width that a range of courses is halved to, degrees, and how many
// undecided ranges are followed at once. Past that number (a crosswind limit of
// zero off the keel leaves a single speed on each course) what is left is
// judged at its ends.
const (
	finestDeg    = 1e-7
	mostHalvings = 4000
)

// open gives the courses on which some speed keeps every limit eased by ease,
// ascending, each span inside two nodes.
func (s *solver) open(ease float64) []span {
	ease += slack
	type cell struct {
		span
		atFrom, atTo terms
	}
	var undecided []cell
	for i, from := range s.nodes[:len(s.nodes)-1] {
		to := s.nodes[i+1]
		room := s.query.room((from + to) / 2)
		if room >= s.least {
			undecided = append(undecided, cell{span{from, to, room}, s.at(from), s.at(to)})
		}
	}
	var found []span
	for len(undecided) > 0 && len(undecided) <= mostHalvings {
		var halves []cell
		for _, c := range undecided {
			best, worst := bounds(c.atFrom, c.atTo)
			if least, greatest := s.speeds(best, c.room, ease); least > greatest {
				continue
			}
			if least, greatest := s.speeds(worst, c.room, ease); least <= greatest {
				found = append(found, c.span)
				continue
			}
			if c.to-c.from <= finestDeg {
				found = s.judge(found, c.span, ease)
				continue
			}
			middle := c.from + float64((c.to-c.from)/2)
			at := s.at(middle)
			halves = append(halves,
				cell{span{c.from, middle, c.room}, c.atFrom, at},
				cell{span{middle, c.to, c.room}, at, c.atTo})
		}
		undecided = halves
	}
	for _, c := range undecided {
		found = s.judge(found, c.span, ease)
	}
	return s.join(found)
}

// keeps tells whether some speed keeps every limit on a course.
func (s *solver) keeps(courseDeg, room, ease float64) bool {
	least, greatest := s.speeds(s.at(courseDeg), room, ease)
	return least <= greatest
}

// judge adds what of a narrow span is open, going by its two ends.
func (s *solver) judge(found []span, c span, ease float64) []span {
	from, to := s.keeps(c.from, c.room, ease), s.keeps(c.to, c.room, ease)
	switch {
	case from && to:
		return append(found, c)
	case !from && !to:
		return found
	}
	in, out := c.from, c.to
	if to {
		in, out = c.to, c.from
	}
	edge := in
	for range 100 {
		middle := edge + float64((out-edge)/2)
		if math.Abs(out-edge) < finestDeg/10 {
			break
		}
		if s.keeps(middle, c.room, ease) {
			edge = middle
		} else {
			out = middle
		}
	}
	return append(found, span{min(in, edge), max(in, edge), c.room})
}

// join puts spans in order and joins neighbours that no node parts.
func (s *solver) join(found []span) []span {
	slices.SortFunc(found, func(a, b span) int {
		return cmp.Or(cmp.Compare(a.from, b.from), cmp.Compare(a.to, b.to))
	})
	var joined []span
	for _, c := range found {
		if n := len(joined); n > 0 && joined[n-1].to == c.from && joined[n-1].room == c.room {
			if _, node := slices.BinarySearch(s.nodes, c.from); !node {
				joined[n-1].to = c.to
				continue
			}
		}
		joined = append(joined, c)
	}
	return joined
}

// arcs joins spans across nodes and north, and lists their speeds.
func (s *solver) arcs(open []span) []Arc {
	var runs [][]span
	for _, c := range open {
		if n := len(runs); n > 0 && runs[n-1][len(runs[n-1])-1].to >= c.from-finestDeg {
			runs[n-1] = append(runs[n-1], c)
			continue
		}
		runs = append(runs, []span{c})
	}
	last := len(runs) - 1
	if last > 0 && runs[0][0].from == 0 && runs[last][len(runs[last])-1].to == 360 {
		runs[last] = append(runs[last], runs[0]...)
		runs = runs[1:]
	}
	arcs := make([]Arc, len(runs))
	for i, run := range runs {
		arcs[i].FromDeg = run[0].from
		for _, c := range run {
			arcs[i].WidthDeg += c.to - c.from
			arcs[i].Speeds = s.list(arcs[i].Speeds, c)
		}
	}
	return arcs
}

// list adds the speeds open along a span: at its ends and at the multiples of
// the query's step between them.
func (s *solver) list(speeds []CourseSpeeds, c span) []CourseSpeeds {
	step := s.query.StepDeg
	if step == 0 {
		step = 5
	}
	add := func(course float64) {
		least, greatest := s.openAt(course, c.room)
		next := CourseSpeeds{circle(course), least, greatest}
		if n := len(speeds); n == 0 || speeds[n-1] != next {
			speeds = append(speeds, next)
		}
	}
	add(c.from)
	for course := step * (math.Floor(c.from/step) + 1); course < c.to; course += step {
		add(course)
	}
	add(c.to)
	return speeds
}

// openAt gives the speeds open on an open course: strictly where the limits
// leave some, else where they touch.
func (s *solver) openAt(courseDeg, room float64) (least, greatest float64) {
	t := s.at(courseDeg)
	least, greatest = s.speeds(t, room, 0)
	if least > greatest {
		least, greatest = s.speeds(t, room, slack)
	}
	return least, max(least, greatest)
}
