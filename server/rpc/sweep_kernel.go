package rpc

import (
	"encoding/binary"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	"bowroll/perf/air"
	"bowroll/perf/booster"
	"bowroll/perf/elementary"
	"bowroll/perf/takeoff"
	bowrollv1 "bowroll/proto/bowroll/v1"
	"bowroll/server/refusal"
	"bowroll/server/sweep"
)

// sweepKernel computes rows. Most of resolving a case is the same from row to
// row, so it is done once for each setting of the inputs that it depends on; the
// quick inputs, which a prepared runner takes as they are, are then set alone.
// Either way the row is the same as that of the case computed by itself.
type sweepKernel struct {
	resolver resolver
	axes     []sweep.Axis
	quick    []quickInput // of each axis; noQuick where the case is resolved anew
	row      *bowrollv1.TakeoffCase
	// prepares says that settings are met again often enough to prepare for.
	prepares bool
	ready    map[string]*prepared
	key      []byte
	inputs   []float64
	scratch  prepared
}

// quickInput is an input that needs no resolving anew.
type quickInput int

const (
	noQuick quickInput = iota
	quickHeadwind
	quickMass
	quickRun
	quickDelay
	quickGrain
	quickTemperature
	quickPressure
	quickAltitude
	quickHumidity
)

// quickInputs are judged, where they are judged at all, by bounds that depend on
// the other inputs alone: what holds at both ends of an axis holds between.
var quickInputs = map[string]quickInput{
	"headwind_mps": quickHeadwind, "gross_mass_kg": quickMass, "available_m": quickRun,
	"boosters.firing.delay_s": quickDelay, "boosters.grain_temperature_c": quickGrain,
	"air.temperature_c": quickTemperature, "air.pressure_pa": quickPressure,
	"air.pressure_altitude_m": quickAltitude, "air.relative_humidity": quickHumidity,
}

// prepared is a case made ready for rows that differ in quick inputs alone.
type prepared struct {
	res      *resolved
	runner   takeoff.Runner
	schedule booster.Schedule
	demand   takeoff.Demand
	air      air.Conditions
	// whole says that no quick input of the sweep can be refused here.
	whole bool
}

// mostPrepared is how many settings are held ready at once.
const mostPrepared = 256

func newSweepKernel(r resolver, spec *bowrollv1.SweepSpec, plan *sweep.Plan) *sweepKernel {
	k := &sweepKernel{
		resolver: r, axes: plan.Axes, quick: make([]quickInput, len(plan.Axes)), row: baseOf(spec),
		ready: map[string]*prepared{}, inputs: make([]float64, len(plan.Axes)),
	}
	settings, inner := 1, false
	for i := range plan.Axes {
		a := &plan.Axes[i]
		k.quick[i] = quickInputs[a.Field]
		if k.quick[i] == quickGrain && len(spec.GetCase().GetBoosters().GetUnitTemperatures()) > 0 {
			k.quick[i] = noQuick // not every unit has it
		}
		inner = k.quick[i] != noQuick
		if !inner {
			settings = min(settings*max(a.Count(), 1), math.MaxInt32)
			if a.Count() == 0 {
				settings = math.MaxInt32
			}
		}
	}
	k.prepares = settings <= mostPrepared || inner && !plan.Sample
	return k
}

// Row computes one row.
func (k *sweepKernel) Row(inputs []float64, into *sweep.Row) error {
	if k.prepares {
		p, err := k.preparedFor(inputs)
		if err != nil {
			return err
		}
		if p.whole {
			if err := p.set(k.quick, inputs); err != nil {
				return fmt.Errorf("a row that held at both ends of its axes was refused: %w", err)
			}
			p.assess(into)
			return nil
		}
	}
	found, err := k.resolve(&k.scratch, k.row, inputs)
	if err != nil {
		return err
	}
	if len(found) > 0 {
		*into = sweep.Row{Fault: faultText(&bowrollv1.ItemStatus{Violations: found})}
		return nil
	}
	k.scratch.assess(into)
	return nil
}

// preparedFor returns what is prepared for the inputs that are not quick.
func (k *sweepKernel) preparedFor(inputs []float64) (*prepared, error) {
	k.key = k.key[:0]
	for i, v := range inputs {
		if k.quick[i] == noQuick {
			k.key = binary.LittleEndian.AppendUint64(k.key, math.Float64bits(v))
		}
	}
	if p, ok := k.ready[string(k.key)]; ok {
		return p, nil
	}
	p := new(prepared)
	p.whole = true
	copy(k.inputs, inputs)
	own := proto.CloneOf(k.row) // what is resolved points into its case
	for end := range 2 {
		for i := range k.axes {
			if k.quick[i] != noQuick {
				least, greatest := k.axes[i].Ends()
				k.inputs[i] = [2]float64{least, greatest}[end]
			}
		}
		found, err := k.resolve(p, own, k.inputs)
		if err != nil {
			return nil, err
		}
		if len(found) > 0 {
			p.whole = false
			break
		}
	}
	if len(k.ready) >= mostPrepared {
		clear(k.ready)
	}
	k.ready[string(k.key)] = p
	return p, nil
}

// resolve resolves the case of a row and makes the model ready for it. The faults
// are the row's.
func (k *sweepKernel) resolve(p *prepared, row *bowrollv1.TakeoffCase, inputs []float64) ([]*bowrollv1.Violation, error) {
	for i := range k.axes {
		k.axes[i].Set(row, inputs[i])
	}
	res, found, err := k.resolver.resolve("case", row)
	if err != nil || len(found) > 0 {
		return found, err
	}
	if res.Planned {
		return []*bowrollv1.Violation{notNominal("case.boosters.firing.mode")}, nil
	}
	if err := p.runner.Reset(res.Setting); err != nil {
		return refusal.FromModel("case", err), nil
	}
	a := res.Case.GetAir()
	p.res, p.demand = res, demand(res)
	p.air = air.Conditions{
		PressurePa: copied(a.PressurePa), PressureAltitudeM: copied(a.PressureAltitudeM), ElevationM: copied(a.ElevationM), QNHPa: copied(a.QnhPa),
		TemperatureC: copied(a.TemperatureC), RelativeHumidity: copied(a.RelativeHumidity),
	}
	return nil, nil
}

// copied is a number of its own, to be written to.
func copied(v *float64) *float64 {
	if v == nil {
		return nil
	}
	own := *v
	return &own
}

func notNominal(field string) *bowrollv1.Violation {
	return &bowrollv1.Violation{
		Field: field, Value: bowrollv1.FiringMode_FIRING_MODE_PLANNED.String(), Rule: "nominal", Allowed: "any other mode",
		Hint: "a sweep computes nominal runs; FIRING_MODE_BEST searches the nominal best firing",
	}
}

// set sets the quick inputs of a row.
func (p *prepared) set(quick []quickInput, inputs []float64) error {
	s, newAir := &p.res.Setting, false
	for i, v := range inputs {
		switch quick[i] {
		case quickHeadwind:
			s.HeadwindMPS = v
			p.demand.TailwindMPS = max(0, -v)
			p.demand.WindOverDeckMPS = elementary.Hypot(v, p.demand.CrosswindMPS)
			p.runner.SetHeadwind(v)
		case quickMass:
			s.GrossMassKG = v
			p.runner.SetGrossMass(v)
		case quickRun:
			p.demand.AvailableM = v
		case quickDelay:
			p.res.Firing.DelayS = v
		case quickGrain:
			for u := range s.Units {
				s.Units[u].GrainTemperatureC = v
			}
		case quickTemperature:
			newAir = newAir || *p.air.TemperatureC != v
			*p.air.TemperatureC = v
		case quickPressure:
			newAir = newAir || *p.air.PressurePa != v
			*p.air.PressurePa = v
		case quickAltitude:
			newAir = newAir || *p.air.PressureAltitudeM != v
			*p.air.PressureAltitudeM = v
		case quickHumidity:
			newAir = newAir || *p.air.RelativeHumidity != v
			*p.air.RelativeHumidity = v
		}
	}
	if !newAir {
		return nil
	}
	var err error
	if s.Air, err = air.At(p.air); err != nil {
		return err
	}
	return p.runner.Reset(*s)
}

// assess answers the row that is set.
func (p *prepared) assess(into *sweep.Row) {
	res := p.res
	res.Firing.Schedule(&p.schedule, res.Setting.Units)
	a := p.runner.Assess(&p.schedule, takeoff.Plan{Firing: res.Firing, Search: res.Best}, p.demand)
	worst := outcome(a.Verdict.Outcome())
	*into = sweep.Row{Outcome: uint8(worst), Goes: goes(worst)}
	n := &into.Numbers
	for i := range n {
		n[i] = math.NaN()
	}
	n[sweep.AvailableM], n[sweep.DensityKgM3] = p.demand.AvailableM, res.Setting.Air.DensityKgM3
	n[sweep.CreditedHeadwindMps], n[sweep.CrosswindMps] = res.Setting.HeadwindMPS, p.demand.CrosswindMPS
	if len(res.Setting.Units) > 0 && a.Firing.Mode != takeoff.Unlit {
		n[sweep.CommandS] = a.Firing.CommandS(res.Setting.Units)
	}
	n[sweep.LiftoffAirspeedMps] = a.Roll.LiftoffAirspeedMPS
	if a.Roll.LiftsOff {
		n[sweep.LiftoffTimeS], n[sweep.RollM], n[sweep.RunM] = a.Roll.TimeS, a.Roll.DistanceM, a.Roll.RunM
		n[sweep.RequiredRunM], n[sweep.MarginM] = a.RequiredM, a.MarginM
		n[sweep.LiftoffGroundSpeedMps] = a.Roll.GroundSpeedMPS
	}
	if a.AirDistance != nil && a.AirDistance.Reached {
		n[sweep.TakeoffDistanceM] = a.Roll.RunM + a.AirDistance.DistanceM
	}
	if c := a.Climb; c != nil {
		n[sweep.GradientWithoutBoosters] = c.GradientUnlit
		if c.HasBurn && a.Firing.Mode != takeoff.Unlit && c.LiftoffAfterBurnoutS <= 0 {
			n[sweep.GradientWithBoosters] = c.GradientLit
		}
	}
}
