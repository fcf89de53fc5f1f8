package wind

import "math"

// A choice is one course and speed, the room there and how far its limits were
// eased.
type choice struct {
	course, speed float64
	room, ease    float64
}

// change gives the change of course from the present one.
func (s *solver) change(courseDeg float64) float64 {
	return turn(s.query.PresentCourseDeg, courseDeg)
}

// leastAt gives the least speed open on a course.
func (s *solver) leastAt(courseDeg, room, ease float64) float64 {
	least, _ := s.speeds(s.at(courseDeg), room, ease)
	return least
}

// A tie is how near two courses' changes and two speeds count as the same.
type tie struct{ deg, mps float64 }

// leastChange prefers a small change of course: changes within half a degree
// are alike, and so are speeds that no ship's log tells apart, lest she alter
// course to save nothing. leastSpeed prefers a low speed.
var (
	leastChange = tie{deg: 0.5, mps: 0.005}
	leastSpeed  = tie{deg: 360, mps: 1e-6}
)

// nearest gives, of the open courses whose change ties with the least, the one
// that needs the least speed; of those that tie in speed, the one with the
// least change, to starboard where both sides are alike.
//
// Inside a span every bound on the speed is monotone in the course, so the
// greatest of them falls and then rises: a section search finds its least.
func (s *solver) nearest(open []span, ease float64, tied tie) choice {
	least := math.Inf(1)
	for _, c := range open {
		least = min(least, math.Abs(s.change(c.from)), math.Abs(s.change(c.to)))
	}
	speed := math.Inf(1)
	type candidate struct {
		near, slowest float64 // courses
		speed         float64 // at slowest
		span          span
	}
	var candidates []candidate
	for _, c := range open {
		near, far := c.from, c.to
		if math.Abs(s.change(far)) < math.Abs(s.change(near)) {
			near, far = far, near
		}
		spare := least + tied.deg - math.Abs(s.change(near))
		if spare < 0 {
			continue
		}
		far = near + math.Copysign(min(math.Abs(far-near), spare), far-near)
		slowest := section(near, far, func(course float64) float64 { return s.leastAt(course, c.room, ease+slack) })
		found := candidate{near, slowest, s.leastAt(slowest, c.room, ease+slack), c}
		speed = min(speed, found.speed)
		candidates = append(candidates, found)
	}
	best := choice{course: math.NaN()}
	for _, c := range candidates {
		if c.speed > speed+tied.mps {
			continue
		}
		course := c.slowest
		if s.leastAt(c.near, c.span.room, ease+slack) <= speed+tied.mps {
			course = c.near
		} else {
			// The nearest course that is slow enough lies between the two.
			fast := c.near
			for range 60 {
				middle := fast + float64((course-fast)/2)
				if s.leastAt(middle, c.span.room, ease+slack) <= speed+tied.mps {
					course = middle
				} else {
					fast = middle
				}
			}
		}
		way, bestWay := s.change(course), s.change(best.course)
		if math.IsNaN(best.course) || math.Abs(way) < math.Abs(bestWay)-1e-9 ||
			math.Abs(way) <= math.Abs(bestWay)+1e-9 && way > bestWay {
			best = choice{course: course, room: c.span.room, ease: ease}
		}
	}
	best.speed, _ = s.eased(best)
	return best
}

// eased gives the speeds open at a choice under its own easing.
func (s *solver) eased(c choice) (least, greatest float64) {
	if c.ease == 0 {
		return s.openAt(c.course, c.room)
	}
	least, greatest = s.speeds(s.at(c.course), c.room, c.ease+slack)
	return least, max(least, greatest)
}

// faster gives the greatest speed open on a choice's course.
func (s *solver) faster(c choice) choice {
	_, c.speed = s.eased(c)
	return c
}

// section gives where f, which falls and then rises, is least between two ends,
// the first where it is level.
func section(a, b float64, f func(float64) float64) float64 {
	const golden = 0.6180339887498949
	left, right := a, b
	x, y := right-float64(golden*(right-left)), left+float64(golden*(right-left))
	fx, fy := f(x), f(y)
	for range 90 {
		if math.Abs(right-left) < 1e-10 {
			break
		}
		if fx <= fy {
			right, y, fy = y, x, fx
			x = right - float64(golden*(right-left))
			fx = f(x)
		} else {
			left, x, fx = x, y, fy
			y = left + float64(golden*(right-left))
			fy = f(y)
		}
	}
	best := left + float64((right-left)/2)
	for _, end := range [2]float64{b, a} {
		if f(end) <= f(best) {
			best = end
		}
	}
	return best
}

// option works out the wind, margins and sea room of a choice.
func (s *solver) option(c choice) *Option {
	q := s.query
	ship := Ship{CourseDeg: circle(c.course), SpeedMPS: c.speed, AxisOffsetDeg: q.Ship.AxisOffsetDeg}
	o := &Option{
		CourseDeg: ship.CourseDeg,
		SpeedMPS:  c.speed,
		ChangeDeg: s.change(c.course),
		LeastMPS:  c.speed, GreatestMPS: c.speed,
		Wind: q.Wind.Use(ship, q.Credit),
	}
	if c.ease == 0 {
		o.LeastMPS, o.GreatestMPS = s.eased(c)
	}
	o.Margins = s.demand.margins(o.Wind)
	if q.LaunchS != nil {
		room := seaRoom(o.ChangeDeg, o.SpeedMPS, *q.LaunchS, q.Ship.TurnRateDegPS)
		o.SeaRoom = &room
	}
	return o
}

// margins gives what is in hand on each limit that some load has.
func (d demand) margins(w Used) []Margin {
	var all []Margin
	add := func(limit string, b bound, value, margin float64) {
		if b.some() {
			all = append(all, Margin{limit, b.load, b.mps, value, margin})
		}
	}
	crosswind := math.Abs(w.CrosswindMPS)
	add(Headwind, d.headwind, w.CreditedHeadwindMPS, w.CreditedHeadwindMPS-d.headwind.mps)
	add(Crosswind, d.crosswind, crosswind, d.crosswind.mps-crosswind)
	add(Tailwind, d.tailwind, w.TailwindMPS, d.tailwind.mps-w.TailwindMPS)
	add(Ceiling, d.ceiling, w.GreatestSpeedMPS, d.ceiling.mps-w.GreatestSpeedMPS)
	return all
}

// Speeds beyond the ship's greatest that the trade shows, m/s.
const (
	someMore = 1.0
	muchMore = 2.5
)

// beyondAnyShip is a speed, m/s, that no ship has.
const beyondAnyShip = 1000

// trade gives the least change of course with the ship held to each of several
// speeds from one to another, and to a little more than the last.
func (s *solver) trade(from, to float64) []Trade {
	held := []float64{from}
	for i := 1; i <= 4; i++ {
		if v := from + float64((to-from)*float64(i)/4); v > held[len(held)-1]+1e-6 {
			held = append(held, v)
		}
	}
	held = append(held, s.greatest+someMore, s.greatest+muchMore)
	trades := make([]Trade, len(held))
	for i, v := range held {
		limited := *s
		limited.greatest = v
		trades[i] = Trade{HeldToMPS: v, BeyondShip: v > s.greatest+1e-6}
		if open := limited.open(0); len(open) > 0 {
			trades[i].Option = limited.option(limited.nearest(open, 0, leastChange))
		}
	}
	return trades
}

// presentNeeds gives the least speed that keeps every limit on the present
// course, whatever the ship can do.
func (s *solver) presentNeeds() *float64 {
	unlimited := *s
	unlimited.greatest = beyondAnyShip
	course := s.query.PresentCourseDeg
	room := s.query.room(course)
	if room < s.least || !unlimited.keeps(course, room, slack) {
		return nil
	}
	least, _ := unlimited.openAt(course, room)
	return &least
}
