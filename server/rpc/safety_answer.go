package rpc

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/booster"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
)

// The functions here answer what is around a take-off with units: where spent
// units come down, how far behind the exhaust is felt, what the firing lines do.

// missing records data that a part of the answer needs and nobody states. It
// bars a launch card and no computation: the rest of the answer stands.
func missing(a *takeoff.Assessment, field, note string) {
	a.Verdict.Add(takeoff.Finding{Outcome: takeoff.DataMissing, Quantity: field, Note: note})
}

// checkSections refuses parts that ask for what the case does not give.
func checkSections(prefix string, c *bowrollv1.TakeoffCase, want sections) []*bowrollv1.Violation {
	if c.GetBoosters() == nil {
		return nil
	}
	var found []*bowrollv1.Violation
	need := func(section bowrollv1.Section, field string, given bool) {
		if want[section] && !given {
			found = append(found, &bowrollv1.Violation{
				Field: prefix + ".boosters." + field, Rule: "required", Allowed: "given", Hint: section.String() + " needs it",
			})
		}
	}
	need(bowrollv1.Section_SECTION_DROP_ZONE, "release", c.GetBoosters().GetRelease() != nil)
	need(bowrollv1.Section_SECTION_CIRCUIT, "firing_supply", c.GetBoosters().GetFiringSupply() != nil)
	return found
}

// surroundings are the parts around a take-off that were asked for.
type surroundings struct {
	keepClear   *bowrollv1.KeepClear
	dropZone    *bowrollv1.DropZone
	firingLines []*bowrollv1.FiringLineCheck
}

// safety works out the parts asked for. The faults are those that only the model can
// tell.
func (r *run) safety(prefix string, a *takeoff.Assessment, want sections) []*bowrollv1.Violation {
	if len(r.res.Setting.Units) == 0 {
		return nil
	}
	if want[bowrollv1.Section_SECTION_EXHAUST] {
		r.parts.keepClear = r.keepClear(a)
	}
	var found []*bowrollv1.Violation
	if want[bowrollv1.Section_SECTION_DROP_ZONE] {
		zone, err := r.dropZone(a)
		r.parts.dropZone = zone
		found = append(found, refusal.FromModel(prefix+".boosters.release", err)...)
	}
	if want[bowrollv1.Section_SECTION_CIRCUIT] {
		lines, err := r.firingLines(a)
		r.parts.firingLines = lines
		found = append(found, refusal.FromModel(prefix+".boosters.firing_supply", err)...)
	}
	return found
}

// keepClear says how far behind the nozzles to stay; nothing is assumed for a
// type without data.
func (r *run) keepClear(a *takeoff.Assessment) *bowrollv1.KeepClear {
	units := r.res.Setting.Units
	clear, ok := units[0].Type.KeepClear(len(units), r.res.Setting.Air.DensityKgM3)
	if !ok {
		missing(a, "keep_clear_m", "neither a tested keep-clear distance nor the exhaust jet: no distance is given")
		return nil
	}
	out := &bowrollv1.KeepClear{
		DistanceM: clear.DistanceM, Basis: bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_ESTIMATE, UnitCount: int32(len(units)),
	}
	if clear.Tested {
		out.Basis = bowrollv1.KeepClearBasis_KEEP_CLEAR_BASIS_TESTED
	}
	if clear.HasEstimate {
		out.EstimateM = proto.Float64(clear.EstimateM)
	}
	return out
}

var datums = map[bowrollv1.Datum]takeoff.Datum{
	bowrollv1.Datum_DATUM_DECK: takeoff.AboveDeck, bowrollv1.Datum_DATUM_SEA: takeoff.AboveSea,
}

// dropZone says where spent units come down, in the wind as it is.
func (r *run) dropZone(a *takeoff.Assessment) (*bowrollv1.DropZone, error) {
	kind, release := r.res.Setting.Units[0].Type, r.res.Case.GetBoosters().GetRelease()
	if kind.FallDragAreaM2 == nil {
		missing(a, "falling_drag_area_greatest_m2", "no drag area of a falling unit: no drop zone is given")
		return nil, nil
	}
	drop := takeoff.Drop{
		HeightM: release.GetHeightM(), Above: datums[release.GetAbove()],
		AirspeedMPS: release.GetAirspeedMps(), ClimbAngleDeg: release.GetClimbAngleDeg(),
		HeadwindMPS: r.res.Wind.GetHeadwindMps(), CrosswindMPS: r.res.Wind.GetCrosswindMps(),
		DensityKgM3: r.res.Setting.Air.DensityKgM3,
		EmptyMassKG: kind.LoadedMassKG - kind.PropellantMassKG, LoadedMassKG: kind.LoadedMassKG,
		DragAreaLeastM2: kind.FallDragAreaM2[0], DragAreaMostM2: kind.FallDragAreaM2[1],
		Scatter: takeoff.Scatter{
			ReleaseS: release.GetReleaseSigmaS(), WindMPS: release.GetWindSigmaMps(),
			Part: release.GetTumblingSigma(), Sigmas: release.GetSigmaFactor(),
		},
	}
	zone, err := drop.Zone()
	if err != nil {
		return nil, err
	}
	out := &bowrollv1.DropZone{
		CentreAlongM: zone.CentreAlongM, CentreAcrossM: zone.CentreAcrossM,
		SemiAlongM: zone.SemiAlongM, SemiAcrossM: zone.SemiAcrossM,
		FirstDownS: zone.FirstS, ClearS: zone.ClearS, TrackDeg: r.res.TrackDeg, Above: release.GetAbove(),
	}
	for _, f := range zone.Falls {
		out.Falls = append(out.Falls, &bowrollv1.UnitFall{
			Loaded: f.Loaded, DragAreaM2: f.DragAreaM2, TimeS: f.TimeS, AlongM: f.AlongM, AcrossM: f.AcrossM,
			AirspeedMps: f.SpeedMPS, DescentAngleDeg: f.AngleDeg,
		})
	}
	return out, nil
}

var wirings = map[bowrollv1.Wiring]booster.Wiring{
	bowrollv1.Wiring_WIRING_SERIES: booster.Series, bowrollv1.Wiring_WIRING_PARALLEL: booster.Parallel,
}

var ignitions = [...]bowrollv1.Ignition{
	booster.SureToFire:  bowrollv1.Ignition_IGNITION_SURE,
	booster.MayFire:     bowrollv1.Ignition_IGNITION_UNSURE,
	booster.SureNotFire: bowrollv1.Ignition_IGNITION_NONE,
}

// firingLines checks every line of the fit, each fed by itself, in the order of
// the stations. Units of a type without stations are taken to be on one line.
func (r *run) firingLines(a *takeoff.Assessment) ([]*bowrollv1.FiringLineCheck, error) {
	units, supply := r.res.Setting.Units, r.res.Case.GetBoosters().GetFiringSupply()
	var names []string
	igniters := map[string]int{}
	for i := range units {
		if igniters[units[i].Line] == 0 {
			names = append(names, units[i].Line)
		}
		igniters[units[i].Line]++
	}
	var list []*bowrollv1.FiringLineCheck
	for _, name := range names {
		line := booster.FiringLine{
			Igniters: igniters[name], Wiring: wirings[supply.GetWiring()], SourceV: supply.GetSourceV(),
			SourceOhm: supply.GetSourceOhm(), CableOhm: supply.GetCableOhm(), LeadOhm: supply.GetLeadOhm(), TestA: supply.GetTestA(),
		}
		check, ok, err := units[0].Type.CheckCircuit(line)
		if err != nil {
			return nil, err
		}
		if !ok {
			missing(a, "igniter", "no igniter: no firing line is checked")
			return nil, nil
		}
		least, _ := units[0].Type.LeastVoltageV(line)
		out := &bowrollv1.FiringLineCheck{
			FiringLine: name, IgniterCount: int32(line.Igniters), LoopOhm: check.LoopOhm,
			IgniterA: check.IgniterA, TotalA: check.TotalA, AllFireA: check.AllFireA, NoFireA: check.NoFireA,
			Ignition: ignitions[check.Firing], LeastSourceV: least,
			TestLimitA: check.TestLimitA, TestSafe: check.TestSafe, Good: check.Good(), Text: lineSentence(name, check),
		}
		if check.HasWindow {
			out.VoltageFits = proto.Bool(check.VoltageFits)
		}
		list = append(list, out)
	}
	return list, nil
}

// lineSentence says what a firing line does, the worst first.
func lineSentence(name string, c booster.CircuitCheck) string {
	if name != "" {
		name = " " + name
	}
	switch {
	case c.Firing != booster.SureToFire:
		return fmt.Sprintf("Line%s %s: %.2f A in each igniter, all-fire %.2f A, no-fire %.2f A.", name, c.Firing, c.IgniterA, c.AllFireA, c.NoFireA)
	case c.HasWindow && !c.VoltageFits:
		return fmt.Sprintf("Line%s fires, and its source is outside the voltage window of the type.", name)
	case !c.TestSafe:
		return fmt.Sprintf("Line%s is tested with %.0f mA; at most %.0f mA is safe.", name, 1000*c.TestA, 1000*c.TestLimitA)
	}
	return fmt.Sprintf("Line%s is sure to fire: %.2f A in each igniter, all-fire %.2f A.", name, c.IgniterA, c.AllFireA)
}

// asymmetryAnswer gives the moments of uneven thrust. More thrust to starboard
// turns the nose to port, and positive is to starboard.
func (s *slab) asymmetryAnswer(a *takeoff.Asymmetry) *bowrollv1.Asymmetry {
	out := &s.asymmetry
	out.BurnMomentNm, out.TailMomentNm = turning(a.BurnNM), turning(a.TailNM)
	if !a.HasControl {
		return out
	}
	out.Controlled = proto.Bool(a.Controlled)
	out.BurnControlAirspeedMps = s.finite(a.BurnControlMPS)
	out.TailControlAirspeedMps = s.finite(a.TailControlMPS)
	if a.BurnNM != 0 {
		out.BurnAirspeedMps = s.finite(a.BurnAirspeedMPS)
	}
	if a.TailNM != 0 {
		out.TailAirspeedMps = s.finite(a.TailAirspeedMPS)
	}
	return out
}

// turning is the moment that turns the nose to starboard where momentNM is more
// thrust there; 0 is never written as -0.
func turning(momentNM float64) float64 {
	if momentNM == 0 || math.IsNaN(momentNM) {
		return 0
	}
	return -momentNM
}
