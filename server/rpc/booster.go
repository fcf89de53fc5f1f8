package rpc

import (
	"bowroll/perf/booster"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// boosterType turns the contract's booster type, already validated, into the
// model's.
func boosterType(p *bowrollv1.BoosterType) *booster.Type {
	t := &booster.Type{
		ID:                      p.GetName(),
		Name:                    p.GetDisplayName(),
		TraceS:                  p.GetTraceS(),
		TraceN:                  p.GetTraceN(),
		LoadedMassKG:            p.GetLoadedMassKg(),
		PropellantMassKG:        p.GetPropellantMassKg(),
		IgnitionDelayS:          p.GetIgnitionDelayS(),
		CantDeg:                 p.GetCantDeg(),
		SplayDeg:                p.GetSplayDeg(),
		DragAreaM2:              p.GetDragAreaM2(),
		PressureSensitivityPerK: p.GetPressureSensitivityPerK(),
		ReferenceTemperatureC:   p.GetReferenceTemperatureC(),
		Firing:                  band(p.FiringLeastC, p.FiringGreatestC),
		Stowage:                 band(p.StowageLeastC, p.StowageGreatestC),
		NominalPressurePa:       p.NominalPressurePa,
		ReliefPressurePa:        p.ReliefPressurePa,
		HangFireAllowanceS:      p.HangFireS,
		ThrustSigma:             p.ThrustSigma,
		BurnTimeSigma:           p.BurnTimeSigma,
		DudProbability:          p.DudProbability,
		WaitingTimeS:            p.MisfireWaitS,
		ExhaustKeepClearM:       p.KeepClearM,
		MountingTorqueNM:        p.MountingTorqueNm,
	}
	if p.FallingDragAreaLeastM2 != nil && p.FallingDragAreaGreatestM2 != nil {
		t.FallDragAreaM2 = &[2]float64{p.GetFallingDragAreaLeastM2(), p.GetFallingDragAreaGreatestM2()}
	}
	if e := p.GetExhaust(); e != nil {
		t.Exhaust = &booster.Exhaust{
			ExitSpeedMPS: e.GetExitSpeedMps(), ExitDiameterM: e.GetExitDiameterM(), ExitDensityKgM3: e.GetExitDensityKgM3(),
			DecayConstant: e.GetDecayFactor(), SpeedCriterionMPS: e.GetCriterionSpeedMps(),
		}
	}
	if i := p.GetIgniter(); i != nil {
		t.Circuit = &booster.Circuit{
			IgniterOhm: i.GetResistanceOhm(), AllFireA: i.GetAllFireA(), NoFireA: i.GetNoFireA(),
			MinSourceV: i.GetLeastSourceV(), MaxSourceV: i.GetGreatestSourceV(),
		}
	}
	return t
}

// band is a range of temperatures, or nil unless both ends are stated.
func band(least, greatest *float64) *booster.Band {
	if least == nil || greatest == nil {
		return nil
	}
	return &booster.Band{MinC: *least, MaxC: *greatest}
}
