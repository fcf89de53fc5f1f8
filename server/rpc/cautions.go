package rpc

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
)

// cautions says what the numbers of this answer give cause to say, the most
// serious first, and nothing that they do not.
func (r *run) cautions(a *takeoff.Assessment) []*bowrollv1.Caution {
	var list []*bowrollv1.Caution
	add := func(severity bowrollv1.Severity, id, text string, args ...any) {
		list = append(list, &bowrollv1.Caution{Id: id, Severity: severity, Text: fmt.Sprintf(text, args...)})
	}
	const note, caution, warning = bowrollv1.Severity_SEVERITY_NOTE, bowrollv1.Severity_SEVERITY_CAUTION, bowrollv1.Severity_SEVERITY_WARNING

	if a.Legs != nil && !a.Legs.Covered {
		add(warning, "failure-not-covered", "A single failure has no way out that the policy accepts.")
	}
	if a.Climb != nil && a.Climb.GradientUnlit <= 0 {
		add(warning, "no-climb-after-burn-out", "Without booster thrust the aircraft does not climb: gradient %.1f %%.", 100*a.Climb.GradientUnlit)
	}
	if a.HoldMarginN != nil && *a.HoldMarginN < 0 {
		add(caution, "brakes-may-not-hold", "The brakes are %.0f N short of holding the thrust before release: the aircraft creeps.", -*a.HoldMarginN)
	}
	if a.Climb != nil && a.Climb.BurnoutInRotation && a.Firing.Mode != takeoff.Unlit {
		add(caution, "burn-out-in-rotation", "Boosters end %.2f s %s lift-off: expect the thrust to fall away during rotation.",
			math.Abs(a.Climb.LiftoffAfterBurnoutS), beforeOrAfter(-a.Climb.LiftoffAfterBurnoutS))
	}
	r.unitCautions(a, add)
	r.safetyCautions(a, add)
	if a.Legs != nil && len(a.Legs.Missing) > 0 {
		add(caution, "failures-not-all-judged", "The booster type does not state %s: the failures that need it are not judged.",
			strings.Join(a.Legs.Missing, ", "))
	}
	if !r.res.HasBrakes && len(r.res.Setting.Units) > 0 {
		add(caution, "no-brake-data", "No braking friction is stated: no stop leg is relied on.")
	}
	if r.res.Wind.GetCreditedHeadwindMps() < 0 {
		add(caution, "tailwind", "The run is planned on a tailwind of %.1f m/s.", -r.res.Wind.GetCreditedHeadwindMps())
	}
	if a.Best != nil && r.res.Best && a.Roll.LiftsOff && a.Firing.Mode == takeoff.Rolling {
		add(note, "firing-is-a-cliff", "The firing is the nominal best: commanded a little early the run is far longer.")
	}
	slices.SortStableFunc(list, func(x, y *bowrollv1.Caution) int { return int(y.GetSeverity()) - int(x.GetSeverity()) })
	return list
}

// unitCautions speak of the units' temperature and pressure, once for a type.
func (r *run) unitCautions(_ *takeoff.Assessment, add func(bowrollv1.Severity, string, string, ...any)) {
	stowage, pressure := false, false
	for _, u := range r.res.Setting.Units {
		if b := u.Type.Stowage; b != nil && !b.Contains(u.GrainTemperatureC) && !stowage {
			stowage = true
			add(bowrollv1.Severity_SEVERITY_CAUTION, "outside-stowage-limits",
				"A unit at %.1f degC is outside its stowage limits of %.0f to %.0f degC.", u.GrainTemperatureC, b.MinC, b.MaxC)
		}
		if at, margin, ok := u.Type.PressurePa(u.GrainTemperatureC); ok && margin < 0.1*at && !pressure {
			pressure = true
			add(bowrollv1.Severity_SEVERITY_WARNING, "near-relief-pressure",
				"Chamber pressure is within %.0f kPa of the relief pressure at %.1f degC.", margin/1000, u.GrainTemperatureC)
		}
	}
}
