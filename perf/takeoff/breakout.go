package takeoff

import (
	"math"

	"bowroll/perf/booster"
	"bowroll/perf/elementary"
)

// A Breaking is how a take-off from sticky ground is budgeted: the units that
// break the aircraft loose are spent by lift-off, so they are counted apart from
// those that lift it off.
type Breaking struct {
	FrictionAtRest float64 // the coefficient to be overcome
	Holds          bool    // the engines alone do not break it loose
	Possible       bool    // with the units given it breaks loose
	BreakOut       int     // units, the first of those given, that break it loose
	LiftOff        int     // units left for lift-off
	DelayS         float64 // their best command after brake release
	Roll           Roll    // with the first at brake release and the rest at DelayS
}

// BreakOut splits the units given into those needed to break loose from a
// coefficient of friction at rest, lit at brake release, and the rest, fired
// while rolling when the run is then least. The units given must be those of the
// setting; the schedule is scratch memory and holds the split firing on return.
func (r *Runner) BreakOut(s *booster.Schedule, units []booster.Unit, frictionAtRest float64) Breaking {
	b := Breaking{FrictionAtRest: frictionAtRest}
	s.Carry(units)
	b.BreakOut = -1
	for count := 0; count <= len(units); count++ {
		if r.looseWith(units, count, frictionAtRest) {
			b.BreakOut = count
			break
		}
	}
	b.Holds = b.BreakOut != 0
	if b.BreakOut < 0 {
		b.BreakOut = len(units)
		b.Roll = Roll{Reason: Stands, MassKG: r.MassKG(s, 0), AirspeedMPS: r.headwind, SteadyAirspeedMPS: r.headwind}
		b.Roll.LiftoffAirspeedMPS = r.LiftoffAirspeedMPS(b.Roll.MassKG)
		return b
	}
	b.Possible = true
	b.LiftOff = len(units) - b.BreakOut
	split := append([]booster.Unit(nil), units...)
	build := func(delay float64) {
		for i := b.BreakOut; i < len(split); i++ {
			split[i].LateS = units[i].LateS + delay
		}
		s.Build(split, 0)
	}
	if b.LiftOff > 0 {
		b.DelayS = r.bestSplit(s, build)
	}
	build(b.DelayS)
	b.Roll = r.Roll(s)
	return b
}

// looseWith tells whether the first units break the aircraft loose at the
// greatest thrust that they reach together, everything still aboard.
func (r *Runner) looseWith(units []booster.Unit, count int, friction float64) bool {
	var forward, upward, mass float64
	mass = r.grossMass
	for i := range units {
		u := &units[i]
		mass += u.Type.LoadedMassKG
		if i >= count || u.Dud {
			continue
		}
		peak := 0.0
		for _, thrust := range u.Type.TraceN {
			peak = max(peak, thrust)
		}
		peak *= u.Type.Rate(u.GrainTemperatureC) * (1 + u.ThrustDeviation)
		sin, cos := elementary.Sincos(u.Type.CantDeg * math.Pi / 180)
		forward += float64(peak * cos * elementary.Cos(u.Type.SplayDeg*math.Pi/180))
		upward += float64(peak * sin)
	}
	u := r.headwind
	square := u * math.Abs(u)
	load := max(0, float64(mass*r.normalG)-float64(r.rollLiftK*max(square, 0))-upward)
	return r.thrust.At(u)+forward-float64(r.rollDragK*square)-float64(mass*r.slopeG)-float64(friction*load) > 0
}

// bestSplit is the delay of the later units with the least run.
func (r *Runner) bestSplit(s *booster.Schedule, build func(delay float64)) float64 {
	length := func(delay float64) float64 {
		build(delay)
		return ByRun.Of(r.Roll(s))
	}
	// Later than lift-off without the later units nothing changes any more.
	build(LimitS)
	roll := r.Roll(s)
	end := searchEnd(roll)
	best, shortest := 0.0, length(0)
	for i := 1; i <= scanPoints; i++ {
		part := float64(i) / scanPoints
		if !roll.LiftsOff {
			part = float64(part * part)
		}
		if l := length(part * end); l < shortest {
			best, shortest = float64(part*end), l
		}
	}
	step := float64(2 * end / scanPoints)
	if x, l := least(length, max(0, best-step), min(end, best+step), firingTolerS); l < shortest {
		best = x
	}
	return best
}
