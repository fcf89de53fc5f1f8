package client

import bowrollv1 "bowroll/proto/bowroll/v1"

// Kept is what a later plan of the cycle is asked to keep of an earlier one: each
// launch as its card has it.
func Kept(plan *bowrollv1.CyclePlan) []*bowrollv1.KeptLaunch {
	var list []*bowrollv1.KeptLaunch
	for _, l := range plan.GetLaunches() {
		k := &bowrollv1.KeptLaunch{
			Sortie: l.GetSortie(), Spot: l.GetSpot(), LaunchS: &l.LaunchS,
		}
		if f := l.GetTakeoff().GetFiring(); f != nil {
			k.FiringDelayS = f.DelayS
		}
		if least := l.GetLeastHeadwindMps(); least != nil {
			k.LeastHeadwindMps = least.Value
		}
		for _, d := range l.GetDraws() {
			k.Draws = append(k.Draws, &bowrollv1.Draw{Lot: d.GetLot(), UnitCount: d.GetUnitCount()})
		}
		list = append(list, k)
	}
	return list
}
