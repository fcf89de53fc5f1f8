package takeoff

import (
	"math"

	"bowroll/perf/air"
	"bowroll/perf/booster"
)

// The changes whose worth is asked.
const (
	SensitivityHeadwindMPS  = 3 * 1852.0 / 3600 // three knots
	SensitivityMassKG       = 100.0
	SensitivityTemperatureC = 5.0
	SensitivityAvailableM   = 10.0
	SensitivityCommandS     = 0.5
)

// A SensitivityQuestion is the take-off that is departed from.
type SensitivityQuestion struct {
	Units      []booster.Unit
	Firing     Firing
	Search     FiringSearch // for the firing planned anew
	AvailableM float64
	// Fewer and More are the next smaller and larger fit; nil where there is none.
	// A fit of no units is empty, not nil.
	Fewer, More []booster.Unit
}

// A Sensitivity is what one change alone does. Both ways of looking at it belong
// together: at a fixed command time more friction or mass can shorten a run,
// because the units light nearer to the start.
type Sensitivity struct {
	Quantity   string  // what is changed, with its unit
	Change     float64 // by how much
	AvailableM float64 // run available with the change
	Fixed      Roll    // the firing held as it was
	// Replanned is the nominal best firing with the change. HasReplanned is false
	// where the change is one of the firing itself.
	Replanned    Choice
	HasReplanned bool
}

// Sensitivities works out what single changes do by finite differences, both
// ways: three knots of headwind, 100 kg, 5 degrees (pressure and grain
// temperatures held), 10 m of run, half a second of the command and the next fit
// with fewer or more units. A change that leads out of what the model accepts is
// left out. The schedule is scratch memory.
func (r *Runner) Sensitivities(s *booster.Schedule, q SensitivityQuestion) []Sensitivity {
	var list []Sensitivity
	for _, sign := range [2]float64{1, -1} {
		list = append(list, r.departed(s, q, "headwind_mps", sign*SensitivityHeadwindMPS, func(to *Setting, change float64) {
			to.HeadwindMPS += change
		})...)
	}
	for _, sign := range [2]float64{1, -1} {
		list = append(list, r.departed(s, q, "gross_mass_kg", sign*SensitivityMassKG, func(to *Setting, change float64) {
			to.GrossMassKG += change
		})...)
	}
	for _, sign := range [2]float64{1, -1} {
		if at := r.setting.Air.TemperatureC + float64(sign*SensitivityTemperatureC); at < air.MinTemperatureC || at > air.MaxTemperatureC {
			continue
		}
		list = append(list, r.departed(s, q, "temperature_c", sign*SensitivityTemperatureC, func(to *Setting, change float64) {
			to.Air.TemperatureC += change
			to.Air.DensityKgM3 = air.DensityKgM3(to.Air.PressurePa, to.Air.TemperatureC, to.Air.RelativeHumidity)
		})...)
	}
	for _, sign := range [2]float64{1, -1} {
		for _, same := range r.departed(s, q, "available_m", sign*SensitivityAvailableM, func(*Setting, float64) {}) {
			same.AvailableM = max(0, same.AvailableM+same.Change)
			list = append(list, same)
		}
	}
	list = append(list, r.commandShifts(s, q)...)
	for _, fit := range [2][]booster.Unit{q.More, q.Fewer} {
		if fit == nil {
			continue
		}
		asked := q
		asked.Units = fit
		if len(q.Units) == 0 {
			asked.Firing = Firing{Mode: Rolling} // at brake release, for want of a command
		}
		list = append(list, r.departed(s, asked, "unit_count", float64(len(fit)-len(q.Units)), func(to *Setting, _ float64) {
			to.Units = fit
		})...)
	}
	return list
}

// departed works out one change; nothing where the model does not accept it.
func (r *Runner) departed(s *booster.Schedule, q SensitivityQuestion, quantity string, change float64, apply func(to *Setting, change float64)) []Sensitivity {
	setting := r.setting
	apply(&setting, change)
	var varied Runner
	if varied.Reset(setting) != nil {
		return nil
	}
	result := Sensitivity{Quantity: quantity, Change: change, AvailableM: q.AvailableM, HasReplanned: true}
	q.Firing.Schedule(s, q.Units)
	result.Fixed = varied.Roll(s)
	if len(q.Units) == 0 {
		result.Replanned = Choice{Firing: Firing{Mode: Unlit}, Roll: result.Fixed}
	} else {
		best := varied.BestFiring(s, q.Units, q.Search)
		result.Replanned = best.Allowed()
	}
	return []Sensitivity{result}
}

// commandShifts are the firing itself earlier and later; on the brakes, their
// release.
func (r *Runner) commandShifts(s *booster.Schedule, q SensitivityQuestion) (list []Sensitivity) {
	if q.Firing.Mode == Unlit || len(q.Units) == 0 {
		return nil
	}
	for _, change := range [2]float64{SensitivityCommandS, -SensitivityCommandS} {
		f, quantity := q.Firing, "delay_s"
		at := &f.DelayS
		if f.Mode == OnBrakes {
			at, quantity = &f.ReactionS, "reaction_s"
		}
		shift := math.Max(change, -*at)
		if shift == 0 {
			continue
		}
		*at += shift
		f.Schedule(s, q.Units)
		list = append(list, Sensitivity{Quantity: quantity, Change: shift, AvailableM: q.AvailableM, Fixed: r.Roll(s)})
	}
	return list
}

// Allowed is the best firing that the brakes allow: brakes that do not hold are
// no way to fire, however short the run.
func (b BestFiring) Allowed() Choice {
	if b.Firing.Mode == OnBrakes && b.HoldMarginN < 0 {
		return b.Rolling
	}
	return b.Choice
}
