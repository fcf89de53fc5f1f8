package wind

import "math"

// slack is how far, m/s, a limit may be passed and still count as kept, so that
// rounding does not close a course that just touches its limit.
const slack = 1e-9

// A bound is the tightest of every load's limits of one kind, and whose it is.
type bound struct {
	mps  float64 // infinite where no load has such a limit
	load string
}

func (b bound) some() bool { return !math.IsInf(b.mps, 0) }

// A demand is what all loads together ask of the wind.
type demand struct {
	headwind, crosswind, tailwind, ceiling bound
}

func demandOf(loads []Load) demand {
	none := bound{mps: math.Inf(1)}
	d := demand{bound{mps: math.Inf(-1)}, none, none, none}
	tighten := func(b *bound, limit *float64, load string) {
		if limit != nil && *limit < b.mps {
			*b = bound{*limit, load}
		}
	}
	for _, load := range loads {
		if least := load.LeastHeadwindMPS; least != nil && *least > d.headwind.mps {
			d.headwind = bound{*least, load.Name}
		}
		tighten(&d.crosswind, load.GreatestCrosswindMPS, load.Name)
		tighten(&d.tailwind, load.GreatestTailwindMPS, load.Name)
		tighten(&d.ceiling, load.CeilingMPS, load.Name)
		// No headwind is credited with more than the wind over deck, so a ceiling
		// keeps the greatest headwind too, on the safe side.
		tighten(&d.ceiling, load.GreatestHeadwindMPS, load.Name)
	}
	return d
}

// terms is what every state of the wind gives on one course, or the best or
// the worst that they can give inside a range of courses.
type terms struct {
	count int
	of    [3]term
}

// bounds gives, of the terms at two courses between which each is monotone, the
// best and the worst that any course between them can have.
func bounds(a, b terms) (best, worst terms) {
	best, worst = a, a
	for i := range a.count {
		x, y := a.of[i], b.of[i]
		best.of[i] = term{
			speed:     x.speed,
			along:     max(x.along, y.along),
			credited:  max(x.credited, y.credited),
			crossLow:  max(x.crossLow, y.crossLow),
			crossHigh: min(x.crossHigh, y.crossHigh),
			ahead:     min(x.ahead, y.ahead),
		}
		worst.of[i] = term{
			speed:     x.speed,
			along:     min(x.along, y.along),
			credited:  min(x.credited, y.credited),
			crossLow:  min(x.crossLow, y.crossLow),
			crossHigh: max(x.crossHigh, y.crossHigh),
			ahead:     max(x.ahead, y.ahead),
		}
	}
	return best, worst
}

// speeds gives the interval of ship's speeds, from s.least up to room, that keep
// the demand on a course with terms t, each limit eased by ease. It is empty
// where least > greatest.
//
// Along the axis: speed cos(offset) + credited natural part >= least headwind,
// and uncredited >= -tailwind limit. Across it: the natural part less speed
// sin(offset) stays within the crosswind limit on both sides. Over the deck:
// speed^2 + wind^2 + 2 speed wind cos(angle) <= ceiling^2, whose roots are
// -wind cos +- sqrt(ceiling^2 - wind^2 sin^2).
func (s *solver) speeds(t terms, room, ease float64) (least, greatest float64) {
	least, greatest = s.least, min(s.greatest, room)
	// atLeast keeps slope x speed >= need.
	atLeast := func(slope, need float64) {
		switch {
		case slope > 1e-12:
			least = max(least, need/slope)
		case slope < -1e-12:
			greatest = min(greatest, need/slope)
		case need > 0:
			least = math.Inf(1)
		}
	}
	for _, w := range t.of[:t.count] {
		atLeast(s.cosOffset, s.demand.headwind.mps-ease-w.credited)
		atLeast(s.cosOffset, -s.demand.tailwind.mps-ease-w.along)
		atLeast(s.sinOffset, w.crossHigh-s.demand.crosswind.mps-ease)
		atLeast(-s.sinOffset, -w.crossLow-s.demand.crosswind.mps-ease)
		if !s.demand.ceiling.some() {
			continue
		}
		ceiling := s.demand.ceiling.mps + ease
		if ceiling < 0 {
			return math.Inf(1), greatest
		}
		under := float64(ceiling*ceiling) - float64(w.speed*w.speed*(1-float64(w.ahead*w.ahead)))
		if under < 0 {
			return math.Inf(1), greatest
		}
		root := math.Sqrt(under)
		least = max(least, float64(-w.speed*w.ahead)-root)
		greatest = min(greatest, float64(-w.speed*w.ahead)+root)
	}
	return least, greatest
}

// at gives the terms on a course.
func (s *solver) at(courseDeg float64) terms {
	ship := Ship{CourseDeg: courseDeg, AxisOffsetDeg: s.query.Ship.AxisOffsetDeg}
	t := terms{count: len(s.states)}
	for i, st := range s.states {
		t.of[i] = ship.termOf(st.Vector, s.query.Wind.SpreadDeg, s.query.Credit)
	}
	return t
}
