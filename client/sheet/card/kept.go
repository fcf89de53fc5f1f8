package card

import (
	"fmt"
	"time"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// Kept is what a store holds of a card that was issued from a plan that it keeps.
type Kept struct {
	Plan   *bowrollv1.Plan
	Sortie *bowrollv1.PlanSortie
}

// id names the card by its plan and its place in the launch order.
func (k *Kept) id(order int32) string { return fmt.Sprintf("%s-%02d", last(k.Plan.GetName()), order) }

// until returns when the card ends: as it was issued for, or sooner where a unit
// may no longer be used.
func (k *Kept) until(computed time.Time, because string) (time.Time, string) {
	issued := k.Sortie.GetCardUntilTime()
	if issued == nil || computed.Before(issued.AsTime()) {
		return computed, because
	}
	return issued.AsTime().UTC(), "as it was issued"
}

// serials puts the serial of each unit to the station that it was reserved for.
func (k *Kept) serials(units []Unit) {
	known := map[[2]string]string{}
	for _, d := range k.Sortie.GetDraws() {
		for i, station := range d.GetStations() {
			if i < len(d.GetUnits()) {
				known[[2]string{d.GetLot(), station}] = d.GetUnits()[i]
			}
		}
	}
	for i, u := range units {
		units[i].Serial = known[[2]string{u.Lot, u.Station}]
	}
}

// narrow takes the sides that the card was issued with where they are within
// those that the service found; nothing makes a box wider.
func (k *Kept) narrow(b *Box) {
	issued := k.Sortie.GetBox()
	if b == nil || issued == nil {
		return
	}
	for _, side := range []struct {
		found  **float64
		issued *float64
		least  bool
	}{
		{&b.LeastHeadwindMPS, issued.LeastHeadwindMps, true}, {&b.GreatestHeadwindMPS, issued.GreatestHeadwindMps, false},
		{&b.GreatestCrosswindMPS, issued.GreatestCrosswindMps, false},
		{&b.LeastMassKG, issued.LeastMassKg, true}, {&b.GreatestMassKG, issued.GreatestMassKg, false},
		{&b.SpotM, issued.SpotToleranceM, false}, {&b.ColdestC, issued.LeastTemperatureC, true},
		{&b.HottestC, issued.GreatestTemperatureC, false}, {&b.GrainLeastC, issued.LeastGrainTemperatureC, true},
		{&b.GrainGreatestC, issued.GreatestGrainTemperatureC, false},
	} {
		if side.issued == nil {
			continue
		}
		if *side.found == nil || side.least && *side.issued > **side.found || !side.least && *side.issued < **side.found {
			*side.found = side.issued
		}
	}
}

// voids are why a card that was issued holds no longer; none where it holds.
func (k *Kept) voids() []string {
	list := append([]string{}, k.Sortie.GetVoidReasons()...)
	switch k.Plan.GetState() {
	case bowrollv1.PlanState_PLAN_STATE_CANCELLED:
		list = append(list, "the plan was cancelled: "+k.Plan.GetReason())
	case bowrollv1.PlanState_PLAN_STATE_EXPIRED:
		list = append(list, "the plan expired: "+k.Plan.GetReason())
	}
	switch k.Sortie.GetState() {
	case bowrollv1.SortieState_SORTIE_STATE_LAUNCHED:
		list = append(list, "the sortie has launched: a card is good for one launch")
	case bowrollv1.SortieState_SORTIE_STATE_SCRUBBED:
		list = append(list, "the sortie was scrubbed")
	case bowrollv1.SortieState_SORTIE_STATE_VOID:
		if len(list) == 0 {
			list = append(list, "it was made void")
		}
	}
	return list
}
