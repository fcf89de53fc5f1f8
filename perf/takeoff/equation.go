package takeoff

import "bowroll/perf/aircraft"

// An Equation is the equation of motion of the ground run in numbers, for those
// who would integrate it with another tool and compare: with u the airspeed,
//
//	m du/dt = T(u) + Fx - DragK u|u| - Mu max(0, m NormalG - LiftK max(u|u|, 0) - Fz) - m SlopeG
//
// to u >= sqrt(LiftoffSq m), m being GrossMassKG and the units of the schedule.
type Equation struct {
	GrossMassKG float64
	HeadwindMPS float64
	Mu          float64
	NormalG     float64
	SlopeG      float64
	DragK       float64
	LiftK       float64
	LiftoffSq   float64
	Thrust      aircraft.Curve
}

// Equation is the runner's equation of motion at full throttle.
func (r *Runner) Equation() Equation {
	return Equation{
		GrossMassKG: r.grossMass, HeadwindMPS: r.headwind, Mu: r.rollingMu,
		NormalG: r.normalG, SlopeG: r.slopeG, DragK: r.rollDragK, LiftK: r.rollLiftK, LiftoffSq: r.liftoffSq,
		Thrust: r.thrust,
	}
}
