package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// Mode says when units are fired.
type Mode uint8

const (
	Unlit    Mode = iota // carried, never fired
	Rolling              // commanded DelayS after brake release
	OnBrakes             // commanded first; brakes let go ReactionS after first thrust
)

// String names the mode.
func (m Mode) String() string {
	switch m {
	case Unlit:
		return "unlit"
	case Rolling:
		return "rolling"
	case OnBrakes:
		return "on the brakes"
	}
	return "unknown"
}

// A Firing says when the units are fired.
type Firing struct {
	Mode      Mode
	DelayS    float64 // rolling: command after brake release
	ReactionS float64 // on the brakes: first thrust to brake release
}

// CommandS is the time of the command after brake release, +Inf when it never
// comes. On the brakes first thrust is ReactionS before release, so the command
// comes before that by the shortest ignition delay fitted.
func (f Firing) CommandS(units []booster.Unit) float64 {
	switch f.Mode {
	case Rolling:
		return f.DelayS
	case OnBrakes:
		shortest := math.Inf(1)
		for i := range units {
			shortest = min(shortest, units[i].Type.IgnitionDelayS)
		}
		if len(units) == 0 {
			shortest = 0
		}
		return -f.ReactionS - shortest
	}
	return math.Inf(1)
}

// Schedule builds the thrust of the given units for a firing into s.
func (f Firing) Schedule(s *booster.Schedule, units []booster.Unit) {
	if f.Mode == Unlit || len(units) == 0 {
		s.Carry(units)
		return
	}
	s.Build(units, f.CommandS(units))
}

// BrakesHold tells by how many newtons the brakes out-hold the thrust, at the
// worst moment from first thrust on the brakes to their release at time 0; a
// negative margin means that the aircraft creeps before release:
//
//	mu_brake N - (T + Fx - D - W sin(theta)), V = 0
func (r *Runner) BrakesHold(s *booster.Schedule, f Firing) (marginN float64) {
	from := 0.0
	if f.Mode == OnBrakes {
		from = -f.ReactionS
	}
	u := r.headwind
	square := u * math.Abs(u)
	steady := r.thrust.At(u) - float64(r.rollDragK*square)
	lift := float64(r.rollLiftK * max(square, 0))
	segments := s.Segments()
	marginN = math.Inf(1)
	at := func(seg *booster.Segment, tau float64) {
		mass := r.grossMass + seg.MassKG + float64(tau*(seg.MassKGPS+float64(tau*seg.MassKGPS2)))
		load := max(0, float64(mass*r.normalG)-lift-seg.UpwardN-float64(tau*seg.UpwardNPS))
		push := steady + seg.ForwardN + float64(tau*seg.ForwardNPS) - float64(mass*r.slopeG)
		marginN = min(marginN, float64(r.brakingMu*load)-push)
	}
	for i := s.Index(from); i < len(segments) && segments[i].StartS <= 0; i++ {
		seg := &segments[i]
		low, high := max(0, from-seg.StartS), -seg.StartS
		if i+1 < len(segments) {
			high = min(high, segments[i+1].StartS-seg.StartS)
		}
		at(seg, low)
		at(seg, high)
		// The margin is a quadratic of time between: it may be least inside.
		curve := float64(seg.MassKGPS2 * (float64(r.brakingMu*r.normalG) + r.slopeG))
		if curve != 0 {
			rate := float64(r.brakingMu*(float64(seg.MassKGPS*r.normalG)-seg.UpwardNPS)) - seg.ForwardNPS + float64(seg.MassKGPS*r.slopeG)
			if vertex := -rate / float64(2*curve); vertex > low && vertex < high {
				at(seg, vertex)
			}
		}
	}
	return marginN
}
