package wind

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// This file holds FindCourse against a search on a fine mesh that knows only
// the wind triangle and the meaning of the limits.

// miss gives by how much the worst limit is missed on a course at a speed; zero
// or less where all are kept. Inside the spread every part of the wind is at
// its worst at an edge or where it stands ahead, astern or abeam.
func (q CourseQuery) miss(course, speed float64) float64 {
	ship := Ship{course, speed, q.Ship.AxisOffsetDeg}
	worst := math.Inf(-1)
	for _, st := range q.Wind.states() {
		directions := []float64{st.FromDeg, st.FromDeg - q.Wind.SpreadDeg, st.FromDeg + q.Wind.SpreadDeg}
		for quarter := 0.0; quarter < 360; quarter += 90 {
			for _, d := range [2]float64{course + quarter, ship.AxisDeg() + quarter} {
				if math.Abs(turn(st.FromDeg, d)) <= q.Wind.SpreadDeg {
					directions = append(directions, d)
				}
			}
		}
		for _, d := range directions {
			felt := ship.OverDeck(Vector{d, st.SpeedMPS})
			for _, load := range q.Loads {
				if l := load.LeastHeadwindMPS; l != nil {
					worst = max(worst, *l-q.Credit.Headwind(felt))
				}
				if l := load.GreatestCrosswindMPS; l != nil {
					worst = max(worst, math.Abs(felt.CrosswindMPS)-*l)
				}
				if l := load.GreatestTailwindMPS; l != nil {
					worst = max(worst, -felt.HeadwindMPS-*l)
				}
				if l := load.CeilingMPS; l != nil {
					worst = max(worst, felt.SpeedMPS-*l)
				}
			}
		}
	}
	return worst
}

func (q CourseQuery) closed(course float64) bool { return q.room(course) < q.Ship.least() }

func drawQuery(t *rapid.T) CourseQuery {
	q := CourseQuery{
		Wind:   drawNatural(t),
		Credit: drawCredit(t),
		Ship: ShipRange{
			LeastMPS:      rapid.Float64Range(0, 5).Draw(t, "least"),
			SteerageMPS:   rapid.Float64Range(0, 3).Draw(t, "steerage"),
			GreatestMPS:   rapid.Float64Range(5, 18).Draw(t, "greatest"),
			AxisOffsetDeg: rapid.SampledFrom([]float64{0, 0, -8.5, 10, 45}).Draw(t, "axis"),
		},
		PresentCourseDeg: rapid.Float64Range(0, 360).Draw(t, "present"),
	}
	for i := range rapid.IntRange(1, 3).Draw(t, "loads") {
		q.Loads = append(q.Loads, Load{string(rune('a' + i)), drawLimits(t)})
	}
	for range rapid.IntRange(0, 2).Draw(t, "sectors") {
		from := rapid.Float64Range(0, 360).Draw(t, "sector")
		width := rapid.Float64Range(1, 170).Draw(t, "width")
		q.Closed = append(q.Closed, Sector{FromDeg: from, ToDeg: circle(from + width)})
	}
	return q
}

// mesh calls visit for every open course and speed of the mesh.
func (q CourseQuery) mesh(courseStep, speedStep float64, visit func(course, speed, miss float64)) {
	for i := 0; float64(i)*courseStep < 360; i++ {
		course := float64(i) * courseStep
		if q.closed(course) {
			continue
		}
		count := int(math.Ceil((q.Ship.GreatestMPS - q.Ship.least()) / speedStep))
		for j := 0; j <= count; j++ {
			speed := min(q.Ship.least()+float64(j)*speedStep, q.Ship.GreatestMPS)
			visit(course, speed, q.miss(course, speed))
		}
	}
}

func (a *CourseAnswer) holds(course float64) bool {
	for _, arc := range a.Open {
		if arc.WidthDeg >= 360-1e-9 || circle(course-arc.FromDeg) <= arc.WidthDeg+1e-6 || 360-circle(course-arc.FromDeg) < 1e-6 {
			return true
		}
	}
	return false
}

func TestFindCourseAgainstAMesh(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := drawQuery(t)
		answer, err := FindCourse(q)
		if err != nil {
			t.Fatal(err)
		}
		s := newSolver(q)
		// Whatever is called open is open by the meaning of the limits.
		for _, arc := range answer.Open {
			for _, p := range arc.Speeds {
				for _, speed := range [3]float64{p.LeastMPS, (p.LeastMPS + p.GreatestMPS) / 2, p.GreatestMPS} {
					if miss := q.miss(p.CourseDeg, speed); miss > 1e-6 || speed < q.Ship.least()-1e-6 || speed > q.Ship.GreatestMPS+1e-6 {
						t.Fatalf("course %v at %v misses by %v", p.CourseDeg, speed, miss)
					}
				}
			}
		}
		// Whatever the mesh finds open is called open, and nothing it finds is
		// better than what is recommended.
		change := math.Inf(1)
		if r := answer.Recommended; r != nil {
			change = math.Abs(r.ChangeDeg)
		}
		nearest, slowest, leastMiss := math.Inf(1), math.Inf(1), math.Inf(1)
		q.mesh(1, 0.25, func(course, speed, miss float64) {
			leastMiss = min(leastMiss, miss)
			if miss > -1e-6 {
				return
			}
			if !answer.holds(course) {
				t.Fatalf("course %v at %v keeps every limit by %v and is called closed", course, speed, -miss)
			}
			least, greatest := s.openAt(course, q.room(course))
			if speed < least-1e-6 || speed > greatest+1e-6 {
				t.Fatalf("course %v at %v keeps every limit; open are %v to %v", course, speed, least, greatest)
			}
			nearest = min(nearest, math.Abs(turn(q.PresentCourseDeg, course)))
			if math.Abs(turn(q.PresentCourseDeg, course)) <= change {
				slowest = min(slowest, speed)
			}
			if speed < answer.LeastSpeed.SpeedMPS-1e-5 {
				t.Fatalf("course %v at %v is slower than %+v", course, speed, answer.LeastSpeed)
			}
		})
		if r := answer.Recommended; r != nil {
			if miss := q.miss(r.CourseDeg, r.SpeedMPS); miss > 1e-6 || q.closed(circle(r.CourseDeg)) {
				t.Fatalf("recommended %+v misses by %v", r, miss)
			}
			if nearest < change-0.5-1e-5 || slowest < r.SpeedMPS-leastChange.mps-1e-5 {
				t.Fatalf("the mesh has a change of %v and, as near as recommended, a speed of %v; recommended %+v", nearest, slowest, r)
			}
			return
		}
		short := answer.Shortfall
		if short == nil {
			t.Fatal("neither open nor short")
		}
		if short.Best == nil {
			if !math.IsInf(leastMiss, 1) {
				t.Fatal("some course is not closed")
			}
			return
		}
		if miss := q.miss(short.Best.CourseDeg, short.Best.SpeedMPS); math.Abs(miss-short.WorstMPS) > 1e-4 {
			t.Fatalf("best misses by %v, said %v", miss, short.WorstMPS)
		}
		if leastMiss < short.WorstMPS-1e-4 {
			t.Fatalf("the mesh misses by %v only, best said %v", leastMiss, short.WorstMPS)
		}
		if len(short.Missed) == 0 || math.Abs(short.Missed[0].MarginMPS+short.WorstMPS) > 1e-4 {
			t.Fatalf("worst %v, missed %+v", short.WorstMPS, short.Missed)
		}
		for _, name := range short.OpenWithout {
			without := q
			without.Loads = nil
			for _, load := range q.Loads {
				if load.Name != name {
					without.Loads = append(without.Loads, load)
				}
			}
			if len(newSolver(without).open(0)) == 0 {
				t.Fatalf("without %s no course opens", name)
			}
		}
	})
}

// Sectors far narrower than any mesh are found, with their edges.
func TestFindCourseFindsNarrowSectors(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		from := rapid.Float64Range(0, 360).Draw(t, "from")
		speed := rapid.Float64Range(5, 20).Draw(t, "wind")
		ship := rapid.Float64Range(3, 15).Draw(t, "ship")
		half := math.Pow(10, rapid.Float64Range(-4, 0).Draw(t, "log half width"))
		sin, cos := sincos(half)
		// A crosswind limit, or a headwind that all of the ship's speed makes.
		load := Load{"a", Limits{GreatestCrosswindMPS: some(speed * sin), LeastHeadwindMPS: some(0)}}
		if rapid.Bool().Draw(t, "headwind") && half > 0.01 {
			load = Load{"a", Limits{LeastHeadwindMPS: some(ship + speed*cos)}}
		}
		answer, err := FindCourse(CourseQuery{
			Wind: Steady(from, speed), Credit: FullCredit(), Ship: ShipRange{GreatestMPS: ship},
			PresentCourseDeg: circle(from + 100), Loads: []Load{load},
		})
		if err != nil {
			t.Fatal(err)
		}
		for _, arc := range answer.Open {
			if circle(from-arc.FromDeg) > 180 {
				continue // running before a wind weaker than the ship
			}
			// Limits are kept to 1e-9 m/s, which widens a sector a little.
			allowed := 1e-6 + slack/(speed*sin)*180/math.Pi
			if math.Abs(arc.WidthDeg-2*half) > 2*allowed || math.Abs(turn(from-half, arc.FromDeg)) > allowed {
				t.Fatalf("open from %.9f over %.9f, want from %.9f over %.9f", arc.FromDeg, arc.WidthDeg, circle(from-half), 2*half)
			}
			return
		}
		t.Fatalf("the sector of %v degrees was missed: %+v", 2*half, answer.Open)
	})
}

// Between two nodes every part of the wind is level, or rises or falls all the
// way. That makes a closed range surely closed and an open one open, and lets a
// section search find the least speed.
func TestPartsAreMonotoneBetweenNodes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newSolver(drawQuery(t))
		for i, from := range s.nodes[:len(s.nodes)-1] {
			const steps = 4
			width := s.nodes[i+1] - from
			if width < 1 {
				continue
			}
			var values [5][steps + 1]float64
			for j := range steps + 1 {
				c := s.at(from + width*float64(j)/steps).of[0]
				for k, v := range [5]float64{c.along, c.credited, c.crossLow, c.crossHigh, c.ahead} {
					values[k][j] = v
				}
			}
			for k, v := range values {
				rises, falls, level := true, true, true
				for j := range steps {
					rises = rises && v[j+1] > v[j]
					falls = falls && v[j+1] < v[j]
					level = level && math.Abs(v[j+1]-v[j]) < 1e-12
				}
				if !rises && !falls && !level {
					t.Fatalf("part %d between %v and %v: %v", k, from, from+width, v)
				}
			}
		}
	})
}
