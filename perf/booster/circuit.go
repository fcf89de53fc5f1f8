package booster

import "bowroll/perf/violation"

// Wiring is how the igniters of a firing line are joined.
type Wiring uint8

const (
	WiringUnstated Wiring = iota // refused
	Series
	Parallel
)

// String names the wiring.
func (w Wiring) String() string {
	switch w {
	case Series:
		return "series"
	case Parallel:
		return "parallel"
	}
	return "not stated"
}

// A FiringLine is a source with igniters on it, all of one type.
type FiringLine struct {
	Igniters  int
	Wiring    Wiring
	SourceV   float64
	SourceOhm float64 // inside the source
	CableOhm  float64 // out and back, shared by all igniters
	LeadOhm   float64 // of each igniter's own leads, out and back
	TestA     float64 // current of the instrument that tests the line
}

// Ignition is what a current does to an igniter.
type Ignition uint8

const (
	SureToFire  Ignition = iota // at or above the all-fire current
	MayFire                     // between the two: neither may be relied on
	SureNotFire                 // at or below the no-fire current
)

// String names it.
func (i Ignition) String() string {
	switch i {
	case SureToFire:
		return "sure to fire"
	case MayFire:
		return "may or may not fire"
	case SureNotFire:
		return "does not fire"
	}
	return "unknown"
}

// A CircuitCheck is what a firing line does to its igniters.
type CircuitCheck struct {
	LoopOhm     float64 // as the source sees it
	IgniterA    float64 // firing current in each igniter
	TotalA      float64 // drawn from the source
	Firing      Ignition
	AllFireA    float64
	NoFireA     float64
	VoltageFits bool // inside the window of the type, where it states one
	HasWindow   bool

	// The greatest test current that is accepted: the lesser of 50 mA and a
	// tenth of the no-fire current. The whole test current is held against it,
	// since a parallel line with broken leads sends all of it through one igniter.
	TestLimitA float64
	TestA      float64
	TestSafe   bool
}

// The limit on test currents: "1 A/1 W no-fire" igniters are tested with the
// lesser of 50 mA and a tenth of no-fire (GJB 344-1987 as read; MIL-I-23659 and
// MIL-STD-1576 from memory; NASA ELV payload safety requirements 13.8).
const (
	testCurrentA    = 0.050
	testNoFireShare = 0.1
)

// Good tells whether the line fires every igniter surely, from a voltage inside
// the window, and is tested with a safe current.
func (c CircuitCheck) Good() bool {
	return c.Firing == SureToFire && c.TestSafe && (!c.HasWindow || c.VoltageFits)
}

// Validate returns a [violation.List] with everything in the line that cannot
// be worked with, or nil.
func (l *FiringLine) Validate() error {
	var faults violation.List
	faults.Range("igniters", float64(l.Igniters), 1, 64, "")
	if l.Wiring != Series && l.Wiring != Parallel {
		faults.Absent("wiring", "series or parallel", "")
	}
	faults.Range("source_v", l.SourceV, 0, 1000, "")
	faults.Range("source_ohm", l.SourceOhm, 0, 1000, "")
	faults.Range("cable_ohm", l.CableOhm, 0, 1000, "")
	faults.Range("lead_ohm", l.LeadOhm, 0, 1000, "")
	faults.Range("test_a", l.TestA, 0, 10, "")
	return faults.Err()
}

// CheckCircuit works out the currents of a firing line with igniters of the
// type: V/(Rs + Rc + n R) in series and V/(Rs + Rc + R/n)/n in parallel, R an
// igniter with its leads. ok is false where the type states no igniter; the
// error, if any, is a [violation.List].
func (t *Type) CheckCircuit(l FiringLine) (check CircuitCheck, ok bool, err error) {
	if err := l.Validate(); err != nil {
		return CircuitCheck{}, true, err
	}
	if t.Circuit == nil {
		return CircuitCheck{}, false, nil
	}
	igniter := t.Circuit
	n, branch := float64(l.Igniters), igniter.IgniterOhm+l.LeadOhm
	check.AllFireA, check.NoFireA, check.TestA = igniter.AllFireA, igniter.NoFireA, l.TestA
	if l.Wiring == Series {
		check.LoopOhm = l.SourceOhm + l.CableOhm + float64(n*branch)
		check.TotalA = l.SourceV / check.LoopOhm
		check.IgniterA = check.TotalA
	} else {
		check.LoopOhm = l.SourceOhm + l.CableOhm + branch/n
		check.TotalA = l.SourceV / check.LoopOhm
		check.IgniterA = check.TotalA / n
	}
	switch {
	case check.IgniterA >= igniter.AllFireA:
		check.Firing = SureToFire
	case check.IgniterA <= igniter.NoFireA:
		check.Firing = SureNotFire
	default:
		check.Firing = MayFire
	}
	check.HasWindow = igniter.MaxSourceV > 0
	check.VoltageFits = l.SourceV >= igniter.MinSourceV && (!check.HasWindow || l.SourceV <= igniter.MaxSourceV)
	check.TestLimitA = min(testCurrentA, testNoFireShare*igniter.NoFireA)
	check.TestSafe = l.TestA <= check.TestLimitA
	return check, true, nil
}

// LeastVoltageV is the source voltage with which every igniter of a line is just
// sure to fire; ok as for [Type.CheckCircuit].
func (t *Type) LeastVoltageV(l FiringLine) (volts float64, ok bool) {
	check, ok, err := t.CheckCircuit(l)
	if err != nil || !ok {
		return 0, false
	}
	total := check.AllFireA
	if l.Wiring == Parallel {
		total *= float64(l.Igniters)
	}
	return total * check.LoopOhm, true
}

// The least waiting times after a misfire in blasting practice, 30 CFR 56.6310:
// 15 minutes where firing is electric, 30 minutes otherwise.
const (
	electricWaitS = 15 * 60.0
	otherWaitS    = 30 * 60.0
)

// LeastWaitS is the waiting time that blasting practice asks for after a misfire
// of the type: it is electric where the type states an igniter that a current
// fires. It is held against the type's own time and never stands in for it: a
// type that states none has none.
func (t *Type) LeastWaitS() float64 {
	if t.Circuit != nil {
		return electricWaitS
	}
	return otherWaitS
}

// WaitTooShort tells whether the type states a waiting time below [Type.LeastWaitS].
func (t *Type) WaitTooShort() bool {
	return t.WaitingTimeS != nil && *t.WaitingTimeS < t.LeastWaitS()
}
