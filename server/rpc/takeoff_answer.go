package rpc

import (
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// The functions here put results of the model into the contract's messages. A
// number that the model does not have is absent in the answer.

func (s *slab) airAnswer(a air.Air) *bowrollv1.AirState {
	out := &s.air
	out.DensityKgM3 = a.DensityKgM3
	out.PressurePa = a.PressurePa
	out.TemperatureC = a.TemperatureC
	out.PressureAltitudeM = a.PressureAltitudeM
	out.DensityAltitudeM = a.DensityAltitudeM
	return out
}

func (s *slab) rollAnswer(r *takeoff.Roll) *bowrollv1.Roll {
	out := &s.roll
	out.LiftsOff = r.LiftsOff
	out.End = rollEnd(r)
	out.LiftoffAirspeedMps = s.number(r.LiftoffAirspeedMPS)
	if !r.LiftsOff {
		out.SteadyAirspeedMps = s.finite(r.SteadyAirspeedMPS)
		return out
	}
	out.TimeS = s.number(r.TimeS)
	out.DistanceM = s.number(r.DistanceM)
	out.GroundSpeedMps = s.number(r.GroundSpeedMPS)
	out.LiftoffMassKg = s.number(r.MassKG)
	return out
}

func rollEnd(r *takeoff.Roll) bowrollv1.RollEnd {
	switch {
	case r.LiftsOff:
		return bowrollv1.RollEnd_ROLL_END_LIFT_OFF
	case r.Reason == takeoff.Stands:
		return bowrollv1.RollEnd_ROLL_END_STANDS
	case r.Reason == takeoff.TooSlow:
		return bowrollv1.RollEnd_ROLL_END_NO_ACCELERATION
	}
	return bowrollv1.RollEnd_ROLL_END_TIME_LIMIT
}

func airDistanceAnswer(a takeoff.AirDistance) *bowrollv1.AirDistance {
	out := &bowrollv1.AirDistance{ReachesScreen: a.Reached, SinkM: proto.Float64(a.SinkM)}
	if a.Reached {
		out.DistanceM = proto.Float64(a.DistanceM)
		out.TimeS = proto.Float64(a.TimeS)
		out.AirspeedMps = proto.Float64(a.AirspeedMPS)
		out.PathAngleDeg = proto.Float64(a.ClimbAngleRad * 180 / math.Pi)
	}
	return out
}

// firingAnswer says how the units were fired and gives the cue in three ways
// that agree: the same state of the same roll.
func (s *slab) firingAnswer(r *takeoff.Runner, schedule *booster.Schedule, f takeoff.Firing, searched bool, nominalHeadwindMPS float64) *bowrollv1.FiringUsed {
	out := &s.firing
	out.Mode, out.Searched = firingMode(f.Mode), searched
	if f.Mode == takeoff.Unlit {
		return out
	}
	out.FirstThrustS = s.finite(schedule.FirstThrustS())
	out.LastThrustS = s.finite(schedule.LastThrustS())
	cue := &s.cue
	cue.TimeS = f.CommandS(r.Setting().Units)
	if f.Mode == takeoff.OnBrakes {
		out.ReactionS = s.number(f.ReactionS)
		cue.OnBrakes = true
		cue.DistanceM = s.number(0)
	} else {
		out.DelayS = s.number(f.DelayS)
		at := r.RollFor(schedule, f.DelayS)
		credited := r.AirspeedMPS(at)
		cue.DistanceM = s.number(at.DistanceM)
		cue.CreditedAirspeedMps = s.number(credited)
		cue.AirspeedMps = s.number(credited - r.Setting().HeadwindMPS + nominalHeadwindMPS)
	}
	out.Cue = cue
	return out
}

func firingMode(m takeoff.Mode) bowrollv1.FiringMode {
	switch m {
	case takeoff.Rolling:
		return bowrollv1.FiringMode_FIRING_MODE_ROLLING
	case takeoff.OnBrakes:
		return bowrollv1.FiringMode_FIRING_MODE_ON_BRAKES
	}
	return bowrollv1.FiringMode_FIRING_MODE_UNLIT
}

// finite is v, or nothing where v is not a finite number.
func finite(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
