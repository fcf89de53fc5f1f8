package card

import bowrollv1 "bowroll/proto/bowroll/v1"

// box is the conditions inside which the card holds. Only the headwind may be
// less than planned: mass, air and place are bounded by what was planned, so
// that all sides hold at once.
func box(s Sources, sortie *bowrollv1.Sortie) Box {
	b := Box{GreatestMassKG: sortie.GrossMassKg}
	if l := s.Launch.GetLeastHeadwindMps(); l.GetState() == bowrollv1.LimitState_LIMIT_STATE_FOUND {
		b.LeastHeadwindMPS = l.Value
	} else if w := s.Takeoff.GetWind(); w != nil {
		b.LeastHeadwindMPS = &w.CreditedHeadwindMps
	}
	b.GreatestCrosswindMPS = lesser(s.Deck.CrosswindLimitMps, s.Aircraft.CrosswindLimitMps)
	if a := s.Takeoff.GetAir(); a != nil {
		b.HottestC = &a.TemperatureC
	}
	for _, d := range s.Launch.GetDraws() {
		for _, l := range s.Cycle.GetLots() {
			if l.GetId() == d.GetLot() {
				b.GrainLeastC, b.GrainGreatestC = lesser(b.GrainLeastC, l.GrainTemperatureC), greater(b.GrainGreatestC, l.GrainTemperatureC)
			}
		}
	}
	return b
}
