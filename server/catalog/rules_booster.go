package catalog

import (
	"fmt"

	bowrollv1 "bowroll/proto/bowroll/v1"
)

// CheckBoosterType returns what is wrong between the fields of a booster type,
// each field by itself being as the contract asks. Paths are relative to the
// type. Absent fields break no rule here.
func CheckBoosterType(t *bowrollv1.BoosterType) []*bowrollv1.Violation {
	var vs violations
	checkTrace(&vs, t.GetTraceS(), t.GetTraceN())
	if t.PropellantMassKg != nil && t.LoadedMassKg != nil && t.GetPropellantMassKg() >= t.GetLoadedMassKg() {
		vs.add("propellant_mass_kg", figure(t.GetPropellantMassKg()), "order", "below loaded_mass_kg, "+figure(t.GetLoadedMassKg()), "")
	}
	ordered := func(low, high string, least, greatest *float64) {
		if least != nil && greatest != nil && *least > *greatest {
			vs.add(high, figure(*greatest), "order", "at least "+low+", "+figure(*least), "")
		}
		if (least == nil) != (greatest == nil) {
			missing, given := low, high
			if greatest == nil {
				missing, given = high, low
			}
			vs.add(missing, "", "required", "", "a band has two ends, and "+given+" is given")
		}
	}
	ordered("firing_least_c", "firing_greatest_c", t.FiringLeastC, t.FiringGreatestC)
	ordered("stowage_least_c", "stowage_greatest_c", t.StowageLeastC, t.StowageGreatestC)
	ordered("falling_drag_area_least_m2", "falling_drag_area_greatest_m2", t.FallingDragAreaLeastM2, t.FallingDragAreaGreatestM2)
	if i := t.GetIgniter(); i != nil {
		ordered("igniter.least_source_v", "igniter.greatest_source_v", i.LeastSourceV, i.GreatestSourceV)
		if i.AllFireA != nil && i.NoFireA != nil && i.GetNoFireA() >= i.GetAllFireA() {
			vs.add("igniter.no_fire_a", figure(i.GetNoFireA()), "order", "below igniter.all_fire_a, "+figure(i.GetAllFireA()), "")
		}
	}
	if t.NominalPressurePa != nil && t.ReliefPressurePa != nil && t.GetReliefPressurePa() <= t.GetNominalPressurePa() {
		vs.add("relief_pressure_pa", figure(t.GetReliefPressurePa()), "order", "above nominal_pressure_pa, "+figure(t.GetNominalPressurePa()), "")
	}
	return vs
}

func checkTrace(vs *violations, times, thrusts []float64) {
	if len(times) != len(thrusts) {
		vs.add("trace_n", fmt.Sprintf("%d values", len(thrusts)), "length", fmt.Sprintf("as many as trace_s has, %d", len(times)), "")
	}
	if len(times) == 0 {
		return
	}
	if times[0] != 0 {
		vs.add(element("trace_s", 0, ""), figure(times[0]), "order", "0, the moment of first thrust", "")
	}
	for i := 1; i < len(times); i++ {
		if times[i] < times[i-1] {
			vs.add(element("trace_s", i, ""), figure(times[i]), "order", "at least the one before it, "+figure(times[i-1]), "")
		}
		if i > 1 && times[i] == times[i-1] && times[i] == times[i-2] {
			vs.add(element("trace_s", i, ""), figure(times[i]), "unique", "given at most twice", "two points at one time are a jump, three are not")
		}
	}
	var impulse float64
	for i := 1; i < min(len(times), len(thrusts)); i++ {
		impulse += float64((times[i] - times[i-1]) * (thrusts[i] + thrusts[i-1]) / 2)
	}
	if impulse <= 0 && len(times) > 1 && len(times) == len(thrusts) {
		vs.add("trace_n", "without impulse", "impulse", "a thrust above 0 that lasts", "")
	}
}
