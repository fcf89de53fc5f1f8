package takeoff

import (
	"bowroll/perf/air"
	"bowroll/perf/booster"
)

// Climb is what the aircraft can climb at just after lift-off.
type Climb struct {
	GradientUnlit float64 // (T - D)/W, units still fitted
	GradientLit   float64 // (T + Fx - D)/W with the thrust of the units at lift-off

	// LiftoffAfterBurnoutS is lift-off time less the last unit's last thrust,
	// negative while units still burn at lift-off. HasBurn is false, and it is
	// 0, where no unit burns.
	HasBurn              bool
	LiftoffAfterBurnoutS float64
	// BurnoutInRotation: burn-out is nearer to lift-off than the rotation time,
	// or than 1 s where that is more.
	BurnoutInRotation bool
}

// Climb works out the gradients at the lift-off speed of a roll that lifts off,
// with CL = W/(q S) and no ground effect.
func (r *Runner) Climb(s *booster.Schedule, roll Roll) Climb {
	v := roll.AirspeedMPS
	weight := roll.MassKG * air.GravityMPS2
	qS := r.halfRhoS * v * v
	cl := weight / qS
	drag := float64(qS*(r.wing.zeroLift+float64(r.wing.induced*cl*cl))) + float64(0.5*r.setting.Air.DensityKgM3*v*v*r.fittedDrag)
	thrust := r.thrust.At(v)
	var c Climb
	c.GradientUnlit = (thrust - drag) / weight
	forward := s.ForwardBeforeN(roll.TimeS)
	c.GradientLit = (thrust + forward - drag) / weight
	if last := s.LastThrustS(); last >= s.FirstThrustS() {
		c.HasBurn = true
		c.LiftoffAfterBurnoutS = roll.TimeS - last
		near := max(r.rotationS, 1)
		c.BurnoutInRotation = c.LiftoffAfterBurnoutS < near && c.LiftoffAfterBurnoutS > -near
	}
	return c
}
