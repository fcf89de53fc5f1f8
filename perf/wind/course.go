package wind

// CourseQuery asks for the courses and speeds on which every load of a launch
// keeps its limits.
type CourseQuery struct {
	Wind   Natural
	Credit Credit
	Ship   ShipRange
	// PresentCourseDeg is the course that changes are counted from.
	PresentCourseDeg float64
	// Closed lists the sectors of courses that the ship may not steer, or not
	// far enough.
	Closed []Sector
	// Loads are the loads that must all go; at least one.
	Loads []Load
	// LaunchS is how long the launch takes on its course; nil leaves sea room
	// and time out of the answer.
	LaunchS *float64
	// StepDeg is the step at which the open courses' speeds are listed; 0 means
	// 5 degrees.
	StepDeg float64
}

// ShipRange is what the ship can do.
type ShipRange struct {
	LeastMPS      float64  // least speed wanted
	GreatestMPS   float64  // greatest speed
	SteerageMPS   float64  // least speed at which she steers
	AxisOffsetDeg float64  // launch axis from her head, positive to starboard
	TurnRateDegPS *float64 // rate of turn, degrees a second; nil leaves the turn out
}

// least is the least speed that she can launch at.
func (s ShipRange) least() float64 { return max(s.LeastMPS, s.SteerageMPS) }

// A Sector is a range of courses, clockwise from one to the other. The two
// courses themselves are not in it.
type Sector struct {
	FromDeg, ToDeg float64
	// RoomM is how far the ship may run in the sector during the launch; nil
	// closes it for any run.
	RoomM *float64
}

// holds tells whether the course is inside the sector.
func (s Sector) holds(courseDeg float64) bool {
	if s.ToDeg-s.FromDeg >= 360 {
		return true
	}
	way := circle(courseDeg - s.FromDeg)
	return way > 0 && way < circle(s.ToDeg-s.FromDeg)
}

// A Load is one sortie as loaded, and the winds it may go in.
type Load struct {
	Name string
	Limits
}

// CourseAnswer is the courses that are open, the one recommended and what it
// takes.
type CourseAnswer struct {
	// Open lists the courses on which some speed keeps every limit, clockwise
	// from north. Edges are found to 1e-6 degrees, limits kept to 1e-9 m/s.
	Open []Arc
	// Recommended needs the least change of course; of courses within 0.5
	// degrees of that, the one with the least speed (within 0.005 m/s). Nil where
	// none is open.
	Recommended *Option
	// LeastSpeed is the open course that needs the least speed; of those, the
	// one with the least change of course. Nil where none is open.
	LeastSpeed *Option
	// Faster is the recommended course at the greatest speed open there.
	Faster *Option
	// Trade is the least change of course with the ship held to each of several
	// speeds, rising; the last ones may be beyond what she can do and say what
	// more speed would buy.
	Trade []Trade
	// PresentNeedsMPS is the least speed that would do on the present course,
	// be it beyond the ship or not; nil where no speed would.
	PresentNeedsMPS *float64
	// Shortfall says how near the ship can come; nil where a course is open.
	Shortfall *Shortfall
}

// An Arc is a run of open courses.
type Arc struct {
	FromDeg  float64 // 0 to 360, excluded
	WidthDeg float64 // clockwise; 360 for all courses
	// Speeds lists the speeds open along the arc, both ends included.
	Speeds []CourseSpeeds
}

// CourseSpeeds is the range of speeds that keep every limit on a course.
type CourseSpeeds struct {
	CourseDeg             float64
	LeastMPS, GreatestMPS float64
}

// Trade is what the ship could do if held to a speed.
type Trade struct {
	HeldToMPS  float64
	BeyondShip bool    // she cannot go so fast
	Option     *Option // nil where no course is open
}

// An Option is one course and speed and the wind it makes.
type Option struct {
	CourseDeg float64
	SpeedMPS  float64
	// ChangeDeg is the change from the present course, positive to starboard.
	ChangeDeg float64
	// LeastMPS and GreatestMPS are the speeds open on this course; both equal
	// SpeedMPS where a limit is not kept.
	LeastMPS, GreatestMPS float64
	Wind                  Used
	// Margins holds, for each limit that any load has, the load that binds it
	// and what is in hand.
	Margins []Margin
	// SeaRoom is nil where the launch's duration was not given.
	SeaRoom *SeaRoom
}

// A Margin is how far a limit is from being broken.
type Margin struct {
	Limit      string // "headwind", "crosswind", "tailwind" or "ceiling"
	Load       string // whose limit it is: the tightest, the first where equal
	AllowedMPS float64
	ValueMPS   float64 // headwind credited, crosswind by size
	MarginMPS  float64 // negative for a limit that is not kept
}

// A Shortfall says how near to every limit the ship can come.
type Shortfall struct {
	// Best is the course and speed whose worst miss is the least; nil where
	// every course is closed.
	Best *Option
	// WorstMPS is that worst miss, to 1e-5 m/s.
	WorstMPS float64
	// Missed lists the margins of Best that are negative, the worst first.
	Missed []Margin
	// OpenWithout names the loads of which holding any single one opens a
	// course.
	OpenWithout []string
}

// FindCourse gives all courses and speeds on which every load keeps its limits,
// in the worst of lull, mean and gust and of the directions inside their
// spread, and the one recommended.
//
// On a given course the open speeds are one interval, found in closed form: the
// credited headwind and the crosswind are linear in the ship's speed, the wind
// over deck is quadratic. Between the courses where the wind passes the axis
// or the keel, ahead, astern or abeam, every part of the wind is monotone in
// the course. A range of courses between them is therefore surely open where
// its two ends, taken at their worst together, leave room for a speed, and
// surely closed where at their best they leave none; others are halved. No
// sector can be missed for being narrow.
//
// The error is a [violation.List].
func FindCourse(q CourseQuery) (*CourseAnswer, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	s := newSolver(q)
	answer := &CourseAnswer{PresentNeedsMPS: s.presentNeeds()}
	open := s.open(0)
	if len(open) == 0 {
		answer.Trade = s.trade(s.greatest, s.greatest)
		answer.Shortfall = s.shortfall(q)
		return answer, nil
	}
	answer.Open = s.arcs(open)
	recommended := s.nearest(open, 0, leastChange)
	least := s.nearest(open, 0, leastSpeed)
	answer.Recommended = s.option(recommended)
	answer.LeastSpeed = s.option(least)
	answer.Faster = s.option(s.faster(recommended))
	answer.Trade = s.trade(least.speed, s.greatest)
	return answer, nil
}
