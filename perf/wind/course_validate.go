package wind

import (
	"math"
	"strconv"

	"bowroll/perf/violation"
)

// MaxLoads is the greatest number of loads in one query.
const MaxLoads = 1000

// MaxSectors is the greatest number of closed sectors in one query.
const MaxSectors = 72

// Validate gives a [violation.List] of every fault in q, or nil.
func (q CourseQuery) Validate() error {
	var faults violation.List
	nest(&faults, "wind", q.Wind.check)
	nest(&faults, "credit", q.Credit.check)
	nest(&faults, "ship", q.Ship.check)
	faults.Range("present_course_deg", q.PresentCourseDeg, 0, 360, "degrees true")
	if q.LaunchS != nil {
		faults.Range("launch_s", *q.LaunchS, 0, 86400, "")
	}
	if q.StepDeg != 0 {
		faults.Range("step_deg", q.StepDeg, 0.5, 90, "")
	}
	if len(q.Closed) > MaxSectors {
		faults.Add("closed", strconv.Itoa(len(q.Closed))+" sectors", "at most "+strconv.Itoa(MaxSectors), "merge neighbours")
	} else {
		for i, sector := range q.Closed {
			nest(&faults, violation.Index("closed", i), func(inner *violation.List) { sector.check(inner, q.LaunchS != nil) })
		}
	}
	q.checkLoads(&faults)
	return faults.Err()
}

func (q CourseQuery) checkLoads(faults *violation.List) {
	switch {
	case len(q.Loads) == 0:
		faults.Absent("loads", "at least one load", "")
		return
	case len(q.Loads) > MaxLoads:
		faults.Add("loads", strconv.Itoa(len(q.Loads))+" loads", "at most "+strconv.Itoa(MaxLoads), "ask cycle by cycle")
		return
	}
	seen := make(map[string]int, len(q.Loads))
	for i, load := range q.Loads {
		path := violation.Index("loads", i)
		if first, twice := seen[load.Name]; twice {
			faults.Add(path+".name", strconv.Quote(load.Name), "unlike "+violation.Index("loads", first)+".name", "answers name the load that binds")
		} else {
			seen[load.Name] = i
		}
		nest(faults, path, load.check)
	}
}

func (s ShipRange) check(faults *violation.List) {
	least := faults.Range("least_mps", s.LeastMPS, 0, 30, "")
	steerage := faults.Range("steerage_mps", s.SteerageMPS, 0, 30, "least speed at which she steers")
	if faults.Range("greatest_mps", s.GreatestMPS, 0, 30, "") && least && steerage && s.GreatestMPS < s.least() {
		faults.Add("greatest_mps", violation.Number(s.GreatestMPS),
			"at least least_mps and steerage_mps ("+violation.Number(s.least())+")", "")
	}
	faults.Range("axis_offset_deg", s.AxisOffsetDeg, -90, 90, "launch axis from the ship's head, positive to starboard")
	if s.TurnRateDegPS != nil {
		faults.Range("turn_rate_deg_ps", *s.TurnRateDegPS, 0.01, 20, "degrees a second")
	}
}

func (s Sector) check(faults *violation.List, timed bool) {
	from := faults.Range("from_deg", s.FromDeg, 0, 360, "degrees true")
	to := faults.Range("to_deg", s.ToDeg, 0, 360, "degrees true")
	if from && to && s.ToDeg-s.FromDeg < 360 && circle(s.ToDeg-s.FromDeg) == 0 {
		faults.Add("to_deg", violation.Number(s.ToDeg), "unlike from_deg", "0 to 360 is every course")
	}
	if s.RoomM != nil && faults.Range("room_m", *s.RoomM, 0, 1e7, "") && !timed {
		faults.Add("room_m", violation.Number(*s.RoomM), "given with launch_s", "the run in the sector is speed times launch_s")
	}
}

// nest records under prefix what check finds.
func nest(faults *violation.List, prefix string, check func(*violation.List)) {
	var inner violation.List
	check(&inner)
	faults.Nest(prefix, inner.Err())
}

// room gives the greatest speed that closed sectors leave on a course: below
// zero where one is closed for any run, +Inf where none holds the course.
func (q CourseQuery) room(courseDeg float64) float64 {
	room := math.Inf(1)
	for _, sector := range q.Closed {
		if !sector.holds(courseDeg) {
			continue
		}
		switch {
		case sector.RoomM == nil:
			return -1
		case *q.LaunchS > 0:
			room = min(room, *sector.RoomM / *q.LaunchS)
		}
	}
	return room
}
