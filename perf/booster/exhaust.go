package booster

import "math"

// Exhaust is the jet of one unit at its nozzle, for an estimate of how far
// behind it the air is still too fast. All of it is data of the type.
type Exhaust struct {
	ExitSpeedMPS      float64 // U_e
	ExitDiameterM     float64 // d
	ExitDensityKgM3   float64 // rho_e, expanded to the pressure of the day
	DecayConstant     float64 // C of the free jet
	SpeedCriterionMPS float64 // U_limit, the air speed that is still accepted
}

// A KeepClear is how far behind the nozzles people and things are to stay.
type KeepClear struct {
	DistanceM float64
	// Tested: the distance of the type's own tests. Otherwise it is the
	// estimate of a free jet, which knows nothing of heat, debris, the deck
	// beneath or closures thrown out.
	Tested bool
	// EstimateM is the estimate wherever the type has the data for it, also
	// beside a tested distance; HasEstimate says whether it does.
	EstimateM   float64
	HasEstimate bool
}

// KeepClear is the keep-clear distance behind units that burn together in air
// of a density. A tested distance of the type overrides the estimate of a free
// jet,
//
//	x = C d sqrt(n rho_e/rho) U_e/U_limit,
//
// the decay of velocity on the axis of a round turbulent jet (Rajaratnam,
// Turbulent Jets, 1976, from memory) for n nozzles taken as one of their area.
// ok is false for a type with neither: nothing is assumed.
func (t *Type) KeepClear(units int, densityKgM3 float64) (clear KeepClear, ok bool) {
	if e := t.Exhaust; e != nil && units > 0 {
		clear.HasEstimate = true
		clear.EstimateM = e.DecayConstant * e.ExitDiameterM *
			math.Sqrt(float64(units)*e.ExitDensityKgM3/densityKgM3) * e.ExitSpeedMPS / e.SpeedCriterionMPS
		clear.DistanceM = clear.EstimateM
	}
	if t.ExhaustKeepClearM != nil {
		clear.Tested, clear.DistanceM = true, *t.ExhaustKeepClearM
	}
	return clear, clear.Tested || clear.HasEstimate
}
