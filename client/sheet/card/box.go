package card

// box is the conditions inside which the card holds, all of them at their worst
// at once, as the service found them. Without one there is no card.
func box(s Sources) *Box {
	v := s.Takeoff.GetBox()
	if v == nil {
		return nil
	}
	return &Box{
		LeastHeadwindMPS: v.LeastHeadwindMps, GreatestHeadwindMPS: v.GreatestHeadwindMps, GreatestCrosswindMPS: v.GreatestCrosswindMps,
		LeastMassKG: v.LeastMassKg, GreatestMassKG: v.GreatestMassKg, ColdestC: v.LeastTemperatureC, HottestC: v.GreatestTemperatureC,
		GrainLeastC: v.LeastGrainTemperatureC, GrainGreatestC: v.GreatestGrainTemperatureC, SpotM: v.SpotToleranceM,
	}
}
