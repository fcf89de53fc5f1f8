package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// SteadyAirspeedMPS is the airspeed at which acceleration is zero on the wheels
// with the units silent and of the mass they have at a state: the one that the
// aircraft tends to from there. It is the headwind itself where the aircraft
// comes to a stand, and SteadyLimitMPS where it still gains speed there.
func (r *Runner) SteadyAirspeedMPS(s *booster.Schedule, at State) float64 {
	mass := r.MassKG(s, at.TimeS)
	u := at.GroundSpeedMPS + r.headwind
	if net := r.netSilentN(u, mass); net < 0 {
		return r.steadyBelow(u, mass)
	}
	return r.steadyAbove(u, mass)
}

// SteadyLimitMPS is the airspeed up to which a steady one is looked for.
const SteadyLimitMPS = 400.0

// steadyStepMPS is fine beside the points of a thrust table.
const steadyStepMPS = 0.25

func (r *Runner) steadyBelow(u, mass float64) float64 {
	for u > r.headwind {
		next := max(r.headwind, u-steadyStepMPS)
		if r.netSilentN(next, mass) >= 0 {
			return r.steadyBetween(next, u, mass)
		}
		u = next
	}
	return r.headwind
}

func (r *Runner) steadyAbove(u, mass float64) float64 {
	for u < SteadyLimitMPS {
		next := u + steadyStepMPS
		if r.netSilentN(next, mass) <= 0 {
			return r.steadyBetween(u, next, mass)
		}
		u = next
	}
	return SteadyLimitMPS
}

// steadyBetween narrows down a net force that is >= 0 at low and <= 0 at high.
func (r *Runner) steadyBetween(low, high, mass float64) float64 {
	for range 100 {
		mid := low + float64(0.5*(high-low))
		if mid == low || mid == high {
			break
		}
		if r.netSilentN(mid, mass) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low + float64(0.5*(high-low))
}

// netSilentN is the force along the deck on the wheels without booster thrust.
func (r *Runner) netSilentN(u, mass float64) float64 {
	square := float64(u * math.Abs(u))
	lift := float64(r.rollLiftK * max(square, 0))
	load := max(0, float64(mass*r.normalG)-lift)
	return r.thrust.At(u) - float64(r.rollDragK*square) - float64(r.rollingMu*load) - float64(mass*r.slopeG)
}

// CriticalFriction is the rolling friction above which the aircraft is stuck:
// the net force vanishes somewhere between standstill and lift-off speed, so
// that it does not lift off however long the run. It is the least of
//
//	(T + Fx - D - W sin(theta)) / (W cos(theta) - L)
//
// over those speeds, with units of a mass in kg that push steadily forward with
// a thrust in newtons (0: carried unlit), and +Inf where the wing carries
// everything before friction can hold it.
func (r *Runner) CriticalFriction(unitsKG, forwardN float64) float64 {
	mass := r.grossMass + unitsKG
	friction := func(u float64) float64 {
		square := u * math.Abs(u)
		load := float64(mass*r.normalG) - float64(r.rollLiftK*max(square, 0))
		if load <= 0 {
			return math.Inf(1)
		}
		return (r.thrust.At(u) + forwardN - float64(r.rollDragK*square) - float64(mass*r.slopeG)) / load
	}
	liftoff := r.LiftoffAirspeedMPS(mass)
	critical := math.Inf(1)
	for u := r.headwind; u <= liftoff; u += steadyStepMPS {
		at := friction(u)
		if at < critical {
			critical = at
			// The least may lie a little aside of the points of the scan.
			_, beside := least(friction, max(r.headwind, u-steadyStepMPS), min(liftoff, u+steadyStepMPS), 1e-6)
			critical = min(critical, beside)
		}
	}
	return critical
}
