package booster

import (
	"math"

	"bowroll/perf/elementary"
)

// A Unit is one fitted unit as it behaves in one firing. The zero value of
// every field but Type and GrainTemperatureC is the nominal.
type Unit struct {
	Type              *Type
	GrainTemperatureC float64
	LateralM          float64 // y of its station, positive to starboard
	LongitudinalM     float64 // x of its station, positive forward
	Line              string  // firing line
	Dud               bool    // keeps its loaded mass and gives no thrust
	LateS             float64 // first thrust beyond the ignition delay (hang-fire)
	ThrustDeviation   float64 // thrust is multiplied by 1 + this
	RateDeviation     float64 // time is divided by 1 + this
}

// A Segment is a stretch of time in which the total of all units is a
// polynomial of the time tau since StartS: forces linear, mass quadratic.
type Segment struct {
	StartS               float64
	ForwardN, ForwardNPS float64 // Fx: value at StartS and rate
	UpwardN, UpwardNPS   float64 // Fz
	YawNM, YawNMPS       float64 // moment of uneven thrust, positive with more to starboard
	MassKG               float64 // at StartS
	MassKGPS             float64 // first-order coefficient
	MassKGPS2            float64 // second-order coefficient (not twice it)
}

// A Schedule is the merged thrust and mass of all units against time in seconds
// after brake release. Build it again as often as wanted; it reuses its memory.
// A built Schedule is read-only and safe for concurrent use.
type Schedule struct {
	segments []Segment
	burns    []burn
	first    float64 // first thrust of any unit, +Inf when none
	last     float64 // last thrust of any unit, -Inf when none
}

// farPast is where the segment before the first corner starts: far enough to
// precede any run, near enough to stay finite.
const farPast = -1e6

// burn is one group of units that burn alike, while their traces are merged.
type burn struct {
	kind     *Type
	start    float64 // time of trace time 0
	rate     float64 // trace seconds per second
	forward  float64 // Fx per newton of trace
	upward   float64
	yaw      float64
	fuel     float64 // propellant mass per newton second of trace, all units
	next     int     // trace point that comes next
	spent    float64 // trace impulse up to point next-1
	sample   Unit    // what the group's units share
	multiple float64
}

// Build merges the units, each commanded to fire at commandS. A unit whose
// command never comes is given by Silent instead.
func (s *Schedule) Build(units []Unit, commandS float64) {
	s.burns = s.burns[:0]
	s.first, s.last = math.Inf(1), math.Inf(-1)
	var mass float64
	for i := range units {
		mass += units[i].Type.LoadedMassKG
		if !units[i].Dud {
			s.light(&units[i], commandS)
		}
	}
	s.merge(mass)
}

// Silent fills the schedule with units that never give thrust: a constant mass.
func (s *Schedule) Silent(massKG float64) {
	s.burns = s.burns[:0]
	s.first, s.last = math.Inf(1), math.Inf(-1)
	s.merge(massKG)
}

// Carry is Silent for the loaded mass of the units given.
func (s *Schedule) Carry(units []Unit) {
	var mass float64
	for i := range units {
		mass += units[i].Type.LoadedMassKG
	}
	s.Silent(mass)
}

// light adds a unit to the group that burns like it, or starts one.
func (s *Schedule) light(u *Unit, commandS float64) {
	shared := *u
	shared.LateralM, shared.LongitudinalM, shared.Line = 0, 0, ""
	var b *burn
	for i := range s.burns {
		if s.burns[i].sample == shared {
			b = &s.burns[i]
			break
		}
	}
	rate := u.Type.Rate(u.GrainTemperatureC)
	if b == nil {
		s.burns = append(s.burns, burn{
			kind:   u.Type,
			sample: shared,
			start:  commandS + max(0, u.Type.IgnitionDelayS+u.LateS),
			rate:   rate * (1 + u.RateDeviation),
		})
		b = &s.burns[len(s.burns)-1]
		first, last := u.Type.lit()
		s.first = min(s.first, b.start+first/b.rate)
		s.last = max(s.last, b.start+last/b.rate)
	}
	b.multiple++
	strength := rate * (1 + u.ThrustDeviation)
	forward, upward, sideways := u.Type.direction()
	b.forward += float64(strength * forward)
	b.upward += float64(strength * upward)
	b.yaw += float64(strength * (float64(forward*u.LateralM) + float64(sideways*u.LongitudinalM*float64(sign(u.LateralM)))))
}

// direction splits a unit of thrust: forward F cos(cant) cos(splay), upward
// F sin(cant), sideways F cos(cant) sin(splay).
func (t *Type) direction() (forward, upward, sideways float64) {
	if t.CantDeg == 0 && t.SplayDeg == 0 {
		return 1, 0, 0
	}
	sinCant, cosCant := elementary.Sincos(t.CantDeg * math.Pi / 180)
	sinSplay, cosSplay := elementary.Sincos(t.SplayDeg * math.Pi / 180)
	return cosCant * cosSplay, sinCant, cosCant * sinSplay
}

// merge walks all groups from corner to corner.
func (s *Schedule) merge(mass float64) {
	s.segments = append(s.segments[:0], Segment{StartS: farPast, MassKG: mass})
	for i := range s.burns {
		b := &s.burns[i]
		b.fuel = 0
		if impulse := b.kind.ImpulseNS(); impulse > 0 {
			b.fuel = b.multiple * b.kind.PropellantMassKG / impulse
		}
	}
	for {
		corner := math.Inf(1)
		for i := range s.burns {
			corner = min(corner, s.burns[i].corner())
		}
		if math.IsInf(corner, 1) {
			return
		}
		segment := Segment{StartS: corner, MassKG: mass}
		for i := range s.burns {
			s.burns[i].pass(corner)
			s.burns[i].add(&segment)
		}
		s.segments = append(s.segments, segment)
	}
}

// corner is the time of the next point of the group's trace.
func (b *burn) corner() float64 {
	if b.next >= len(b.kind.TraceS) {
		return math.Inf(1)
	}
	return b.start + b.kind.TraceS[b.next]/b.rate
}

// pass moves over every point of the trace that is due by now.
func (b *burn) pass(now float64) {
	for b.next < len(b.kind.TraceS) && b.corner() <= now {
		if j := b.next; j > 0 {
			b.spent += float64(0.5 * (b.kind.TraceN[j] + b.kind.TraceN[j-1]) * (b.kind.TraceS[j] - b.kind.TraceS[j-1]))
		}
		b.next++
	}
}

// add puts the group's part of a segment that starts now into it.
func (b *burn) add(segment *Segment) {
	segment.MassKG -= float64(b.fuel * b.spent)
	j := b.next
	if j == 0 || j >= len(b.kind.TraceS) {
		return
	}
	from, to := b.kind.TraceS[j-1], b.kind.TraceS[j]
	slope := (b.kind.TraceN[j] - b.kind.TraceN[j-1]) / (to - from)
	// The group may be inside its piece, where another group has its corner.
	into := max(0, float64((segment.StartS-b.start)*b.rate)-from)
	thrust := b.kind.TraceN[j-1] + float64(slope*into)
	segment.ForwardN += float64(b.forward * thrust)
	segment.ForwardNPS += float64(b.forward * slope * b.rate)
	segment.UpwardN += float64(b.upward * thrust)
	segment.UpwardNPS += float64(b.upward * slope * b.rate)
	segment.YawNM += float64(b.yaw * thrust)
	segment.YawNMPS += float64(b.yaw * slope * b.rate)
	segment.MassKG -= float64(b.fuel * (b.kind.TraceN[j-1] + float64(0.5*slope*into)) * into)
	segment.MassKGPS -= float64(b.fuel * thrust * b.rate)
	segment.MassKGPS2 -= float64(b.fuel * 0.5 * slope * b.rate * b.rate)
}

// Segments are the stretches in order of time; the last one has no end. The
// slice belongs to the schedule and must not be written to.
func (s *Schedule) Segments() []Segment { return s.segments }

// FirstThrustS is when the first unit begins to push, +Inf if none does.
func (s *Schedule) FirstThrustS() float64 { return s.first }

// LastThrustS is when the last unit stops pushing, -Inf if none pushes.
func (s *Schedule) LastThrustS() float64 { return s.last }

// Index finds the segment that holds at a time; at a corner, the one after it.
func (s *Schedule) Index(timeS float64) int {
	low, high := 0, len(s.segments)-1
	for low < high {
		mid := (low + high + 1) / 2
		if s.segments[mid].StartS <= timeS {
			low = mid
		} else {
			high = mid - 1
		}
	}
	return low
}

// MassKG is the mass of all units at a time.
func (s *Schedule) MassKG(timeS float64) float64 {
	g := &s.segments[s.Index(timeS)]
	tau := timeS - g.StartS
	return g.MassKG + float64(tau*(g.MassKGPS+float64(tau*g.MassKGPS2)))
}

// ForceN is the forward and upward thrust of all units at a time; at a jump,
// the value after it.
func (s *Schedule) ForceN(timeS float64) (forward, upward float64) {
	g := &s.segments[s.Index(timeS)]
	tau := timeS - g.StartS
	return g.ForwardN + float64(tau*g.ForwardNPS), g.UpwardN + float64(tau*g.UpwardNPS)
}

// YawNM is the yawing moment of uneven thrust at a time, positive with more
// thrust to starboard.
func (s *Schedule) YawNM(timeS float64) float64 {
	g := &s.segments[s.Index(timeS)]
	return g.YawNM + float64((timeS-g.StartS)*g.YawNMPS)
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}
