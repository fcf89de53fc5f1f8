package rpc

import (
	"bowroll/perf/elementary"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// modelPolicy gives the model the part of a policy that it computes with.
func modelPolicy(p *bowrollv1.Policy) takeoff.Policy {
	return takeoff.Policy{
		RunFactor:     p.GetRunFactor(),
		FailureFactor: p.GetFailureFactor(),
		RecognitionS:  p.GetRecognitionS(),
		StopReactionS: p.GetStopReactionS(),
		Legs:          legRule(p.GetLegs()),
	}
}

func legRule(l bowrollv1.Legs) takeoff.LegRule {
	switch l {
	case bowrollv1.Legs_LEGS_GO:
		return takeoff.LegGo
	case bowrollv1.Legs_LEGS_STOP:
		return takeoff.LegStop
	case bowrollv1.Legs_LEGS_NEITHER:
		return takeoff.LegNeither
	}
	return takeoff.LegEither
}

// demand is what a resolved case is held against.
func demand(res *resolved) takeoff.Demand {
	p := res.Policy
	d := takeoff.Demand{
		AvailableM:        res.Available,
		ScreenM:           res.ScreenM,
		EdgeHeightM:       res.EdgeM,
		CrosswindMPS:      res.Wind.GetCrosswindMps(),
		TailwindMPS:       res.TailwindMPS,
		WindOverDeckMPS:   res.GreatestWindMPS,
		CrosswindLimitMPS: res.Limits.CrosswindMPS,
		TailwindLimitMPS:  res.Limits.TailwindMPS,
		CeilingMPS:        res.Limits.CeilingMPS,
		Policy:            modelPolicy(p),
		MarginalM:         p.GetMarginalM(),
		LeastSaving:       p.GetLeastSaving(),
		PermittedSinkM:    p.GetPermittedSinkM(),
		LeastGradient:     p.GetLeastGradient(),
	}
	if res.GreatestWindMPS == 0 {
		d.WindOverDeckMPS = elementary.Hypot(res.Wind.GetHeadwindMps(), res.Wind.GetCrosswindMps())
	}
	return d
}
