package takeoff

import (
	"math"

	"bowroll/perf/booster"
)

// Asymmetry is the yawing moment of uneven thrust,
//
//	sum of F cos(eps) cos(zeta) y + F cos(eps) sin(zeta) x,
//
// against what rudder and fin can hold, S b q Cn_max. The control speed is the
// airspeed at which they meet. The burn lasts until the thrust of the first unit
// falls below nine tenths of its mean for the last time, the tail from then on, when
// a side may push alone.
type Asymmetry struct {
	BurnNM float64 // greatest moment in the burn, positive with more to starboard
	TailNM float64

	// Given only when HasControl: the aircraft type states its yaw coefficient.
	HasControl      bool
	BurnControlMPS  float64
	TailControlMPS  float64
	BurnAirspeedMPS float64 // airspeed when the moment of the burn begins
	TailAirspeedMPS float64 // airspeed when the tail begins
	Controlled      bool    // neither begins below its control speed
}

// Asymmetry works out the moments of a schedule and the control speeds that go
// with them.
func (r *Runner) Asymmetry(s *booster.Schedule) Asymmetry {
	var a Asymmetry
	var burnS, tailS float64 // when they begin
	a.BurnNM, burnS = s.GreatestYaw(s.FirstThrustS(), s.FirstTailS())
	a.TailNM, tailS = s.GreatestYaw(s.FirstTailS(), s.LastThrustS())
	if r.setting.Aircraft.YawCoefficient == nil {
		return a
	}
	a.HasControl = true
	a.BurnControlMPS = r.ControlAirspeedMPS(a.BurnNM)
	a.TailControlMPS = r.ControlAirspeedMPS(a.TailNM)
	a.Controlled = true
	if a.BurnNM != 0 {
		a.BurnAirspeedMPS = r.AirspeedMPS(r.RollFor(s, burnS))
		a.Controlled = a.BurnAirspeedMPS >= a.BurnControlMPS
	}
	if a.TailNM != 0 {
		a.TailAirspeedMPS = r.AirspeedMPS(r.RollFor(s, tailS))
		a.Controlled = a.Controlled && a.TailAirspeedMPS >= a.TailControlMPS
	}
	return a
}

// ControlAirspeedMPS is the airspeed at which rudder and fin hold a yawing
// moment, sqrt(2 |M|/(rho S b Cn_max)); 0 where the type states no coefficient.
func (r *Runner) ControlAirspeedMPS(momentNM float64) float64 {
	t := r.setting.Aircraft
	if t.YawCoefficient == nil {
		return 0
	}
	return math.Sqrt(math.Abs(momentNM) / (r.halfRhoS * t.SpanM * *t.YawCoefficient))
}
