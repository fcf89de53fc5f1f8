package rpc

import (
	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/chance"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// dispersionsUsed lays what was given over what the booster type states, and
// that over the defaults named in the contract. The type may be nil.
func dispersionsUsed(given *bowrollv1.Dispersions, kind *booster.Type) *bowrollv1.Dispersions {
	standard := chance.DefaultDispersions()
	used := &bowrollv1.Dispersions{
		ReactionSigmaS:       proto.Float64(standard.ReactionS),
		HeadwindSigmaMps:     proto.Float64(standard.HeadwindMPS),
		GrossMassSigma:       proto.Float64(standard.GrossMass),
		TemperatureSigmaC:    proto.Float64(standard.TemperatureC),
		RollingFrictionSigma: proto.Float64(standard.RollingFriction),
		EngineThrustSigma:    proto.Float64(standard.EngineThrust),
		ClMaxSigma:           proto.Float64(standard.CLMax),
		LotThrustSigma:       proto.Float64(standard.LotThrust),
		LotBurnTimeSigma:     proto.Float64(standard.LotBurnTime),
		UnitThrustSigma:      proto.Float64(0.02),
		UnitBurnTimeSigma:    proto.Float64(0.02),
		IgnitionDelaySigmaS:  proto.Float64(0.03),
		DudProbability:       proto.Float64(0.01),
	}
	if kind != nil {
		proto.Merge(used, &bowrollv1.Dispersions{
			UnitThrustSigma: kind.ThrustSigma, UnitBurnTimeSigma: kind.BurnTimeSigma,
			IgnitionDelaySigmaS: kind.IgnitionDelaySigmaS, DudProbability: kind.DudProbability,
		})
	}
	if given != nil {
		proto.Merge(used, given)
	}
	return used
}

// dispersions are those of a resolved case.
func (res *resolved) dispersions() *bowrollv1.Dispersions {
	var kind *booster.Type
	if len(res.Setting.Units) > 0 {
		kind = res.Setting.Units[0].Type
	}
	return dispersionsUsed(res.Case.GetDispersions(), kind)
}

// chanceCase is a resolved case for the sampler.
func (res *resolved) chanceCase(runner *takeoff.Runner) *chance.Case {
	d := res.dispersions()
	return &chance.Case{
		Runner: runner, Units: res.Setting.Units, Lots: res.Lots,
		Dispersions: chance.Dispersions{
			ReactionS:       d.GetReactionSigmaS(),
			HeadwindMPS:     d.GetHeadwindSigmaMps(),
			GrossMass:       d.GetGrossMassSigma(),
			TemperatureC:    d.GetTemperatureSigmaC(),
			RollingFriction: d.GetRollingFrictionSigma(),
			EngineThrust:    d.GetEngineThrustSigma(),
			CLMax:           d.GetClMaxSigma(),
			LotThrust:       d.GetLotThrustSigma(),
			LotBurnTime:     d.GetLotBurnTimeSigma(),
			UnitThrust:      d.UnitThrustSigma,
			UnitBurnTime:    d.UnitBurnTimeSigma,
			IgnitionDelayS:  d.IgnitionDelaySigmaS,
			DudProbability:  d.DudProbability,
		},
	}
}
