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

func airAnswer(a air.Air) *bowrollv1.AirState {
	return &bowrollv1.AirState{
		DensityKgM3:       a.DensityKgM3,
		PressurePa:        a.PressurePa,
		TemperatureC:      a.TemperatureC,
		PressureAltitudeM: a.PressureAltitudeM,
		DensityAltitudeM:  a.DensityAltitudeM,
	}
}

func rollAnswer(r takeoff.Roll) *bowrollv1.Roll {
	out := &bowrollv1.Roll{
		LiftsOff:           r.LiftsOff,
		End:                rollEnd(r),
		LiftoffAirspeedMps: proto.Float64(r.LiftoffAirspeedMPS),
	}
	if !r.LiftsOff {
		out.SteadyAirspeedMps = finite(r.SteadyAirspeedMPS)
		return out
	}
	out.TimeS = proto.Float64(r.TimeS)
	out.DistanceM = proto.Float64(r.DistanceM)
	out.GroundSpeedMps = proto.Float64(r.GroundSpeedMPS)
	out.LiftoffMassKg = proto.Float64(r.MassKG)
	return out
}

func rollEnd(r takeoff.Roll) bowrollv1.RollEnd {
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
	out := &bowrollv1.AirDistance{ReachesScreen: a.Reached}
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
func firingAnswer(r *takeoff.Runner, s *booster.Schedule, f takeoff.Firing, searched bool, nominalHeadwindMPS float64) *bowrollv1.FiringUsed {
	out := &bowrollv1.FiringUsed{Mode: firingMode(f.Mode), Searched: searched}
	if f.Mode == takeoff.Unlit {
		return out
	}
	out.FirstThrustS = finite(s.FirstThrustS())
	out.LastThrustS = finite(s.LastThrustS())
	cue := &bowrollv1.Cue{TimeS: f.CommandS(r.Setting().Units)}
	if f.Mode == takeoff.OnBrakes {
		out.ReactionS = proto.Float64(f.ReactionS)
		cue.OnBrakes = true
		cue.DistanceM = proto.Float64(0)
	} else {
		out.DelayS = proto.Float64(f.DelayS)
		at := r.RollFor(s, f.DelayS)
		credited := r.AirspeedMPS(at)
		cue.DistanceM = proto.Float64(at.DistanceM)
		cue.CreditedAirspeedMps = proto.Float64(credited)
		cue.AirspeedMps = proto.Float64(credited - r.Setting().HeadwindMPS + nominalHeadwindMPS)
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
