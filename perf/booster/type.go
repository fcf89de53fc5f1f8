// Package booster describes an expendable rocket booster unit and what several
// of them do together: thrust and mass against time at their grain
// temperatures, with delays, duds and departures from the nominal.
//
// Everything is SI except temperatures in degrees Celsius (names in C) and
// angles in degrees (names in Deg).
package booster

import (
	"bowroll/perf/elementary"
	"bowroll/perf/violation"
)

// A Type is one type of unit. It is plain data: fill it in, call
// [Type.Validate] once, and share it; nothing in perf writes to it. A nil
// pointer is data not stated, which may bar a launch card but no computation.
type Type struct {
	ID   string
	Name string

	// The thrust-time trace at the reference grain temperature, piecewise
	// linear, zero outside. Two points at one time are a jump.
	TraceS []float64
	TraceN []float64

	LoadedMassKG     float64
	PropellantMassKG float64
	IgnitionDelayS   float64 // command to first thrust
	CantDeg          float64 // thrust line nose-up
	SplayDeg         float64 // thrust line outboard
	DragAreaM2       float64 // while fitted: lit, dud or spent

	PressureSensitivityPerK float64 // pi_K
	ReferenceTemperatureC   float64

	Firing  *Band // grain temperatures at which it may be fired
	Stowage *Band // temperatures at which it may be kept

	NominalPressurePa *float64 // in the chamber at the reference temperature
	ReliefPressurePa  *float64

	HangFireAllowanceS  *float64 // longest delay beyond the ignition delay still reckoned with
	ThrustSigma         *float64 // standard deviation of thrust within a lot, relative
	BurnTimeSigma       *float64 // the same of burn time
	IgnitionDelaySigmaS *float64
	DudProbability      *float64

	WaitingTimeS      *float64 // after a misfire
	ExhaustKeepClearM *float64 // tested distance
	Exhaust           *Exhaust // for an estimate of it
	Circuit           *Circuit
	MountingTorqueNM  *float64

	// Drag area of one unit that falls after it was dropped, least and most
	// however it tumbles.
	FallDragAreaM2 *[2]float64
}

// A Band is a range of temperatures.
type Band struct{ MinC, MaxC float64 }

// Contains tells whether a temperature lies in the band, ends included.
func (b Band) Contains(temperatureC float64) bool {
	return temperatureC >= b.MinC && temperatureC <= b.MaxC
}

// A Circuit is the igniter as the firing circuit sees it.
type Circuit struct {
	IgniterOhm float64
	AllFireA   float64 // every igniter fires at it
	NoFireA    float64 // no igniter fires at it
	MinSourceV float64 // voltage window of the source; both 0: not stated
	MaxSourceV float64
}

// Rate is k = exp(pi_K (Tg - Tref)): at grain temperature Tg thrust and chamber
// pressure rise by k and time shrinks by k, so that impulse is kept (Sutton and
// Biblarz, Rocket Propulsion Elements, ch. 11).
func (t *Type) Rate(grainTemperatureC float64) float64 {
	return elementary.Exp(t.PressureSensitivityPerK * (grainTemperatureC - t.ReferenceTemperatureC))
}

// ImpulseNS is the total impulse of one unit in newton seconds, the same at
// every grain temperature.
func (t *Type) ImpulseNS() float64 {
	var impulse float64
	for i := 1; i < len(t.TraceS); i++ {
		impulse += float64(0.5 * (t.TraceN[i] + t.TraceN[i-1]) * (t.TraceS[i] - t.TraceS[i-1]))
	}
	return impulse
}

// BurnTimeS is the time from first to last thrust at a grain temperature.
func (t *Type) BurnTimeS(grainTemperatureC float64) float64 {
	first, last := t.lit()
	return (last - first) / t.Rate(grainTemperatureC)
}

// ThrustN is the thrust in newtons a time after the trace began, at a grain
// temperature: k Fref(k tau). At a jump it is the value after it.
func (t *Type) ThrustN(sinceS, grainTemperatureC float64) float64 {
	k := t.Rate(grainTemperatureC)
	x := float64(k * sinceS)
	n := len(t.TraceS)
	if n == 0 || x < t.TraceS[0] || x >= t.TraceS[n-1] {
		return 0
	}
	i := 1
	for t.TraceS[i] <= x {
		i++
	}
	part := (x - t.TraceS[i-1]) / (t.TraceS[i] - t.TraceS[i-1])
	return k * (t.TraceN[i-1] + float64(part*(t.TraceN[i]-t.TraceN[i-1])))
}

// PressurePa is the chamber pressure at a grain temperature and its margin to
// the relief pressure; ok is false where the type does not state both.
func (t *Type) PressurePa(grainTemperatureC float64) (pressurePa, marginPa float64, ok bool) {
	if t.NominalPressurePa == nil || t.ReliefPressurePa == nil {
		return 0, 0, false
	}
	pressurePa = float64(*t.NominalPressurePa * t.Rate(grainTemperatureC))
	return pressurePa, *t.ReliefPressurePa - pressurePa, true
}

// lit gives the trace times of first and last thrust.
func (t *Type) lit() (first, last float64) {
	n := len(t.TraceS)
	if n == 0 {
		return 0, 0
	}
	i, j := 0, n-1
	for i < n-1 && t.TraceN[i] == 0 && t.TraceN[i+1] == 0 {
		i++
	}
	for j > i && t.TraceN[j] == 0 && t.TraceN[j-1] == 0 {
		j--
	}
	return t.TraceS[i], t.TraceS[j]
}

// Validate returns a [violation.List] with everything in the type that the
// model cannot work with, or nil.
func (t *Type) Validate() error {
	var faults violation.List
	t.validateTrace(&faults)
	if faults.Positive("loaded_mass_kg", t.LoadedMassKG, "") {
		faults.Range("propellant_mass_kg", t.PropellantMassKG, 0, t.LoadedMassKG, "part of the loaded mass")
	}
	faults.Range("ignition_delay_s", t.IgnitionDelayS, 0, 10, "command to first thrust")
	faults.Range("cant_deg", t.CantDeg, -45, 45, "degrees nose-up")
	faults.Range("splay_deg", t.SplayDeg, -45, 45, "degrees outboard")
	faults.Range("drag_area_m2", t.DragAreaM2, 0, 5, "")
	faults.Range("pressure_sensitivity_per_k", t.PressureSensitivityPerK, 0, 0.02, "0.0012 to 0.0050 per kelvin in practice")
	faults.Range("reference_temperature_c", t.ReferenceTemperatureC, -80, 80, "")
	for _, band := range []struct {
		path string
		band *Band
	}{{"firing", t.Firing}, {"stowage", t.Stowage}} {
		if band.band == nil {
			continue
		}
		low := faults.Range(band.path+".min_c", band.band.MinC, -80, 100, "")
		if faults.Range(band.path+".max_c", band.band.MaxC, -80, 100, "") && low && band.band.MaxC < band.band.MinC {
			faults.Add(band.path+".max_c", violation.Number(band.band.MaxC), "at least min_c", "")
		}
	}
	for _, optional := range []struct {
		path  string
		value *float64
	}{
		{"nominal_pressure_pa", t.NominalPressurePa}, {"relief_pressure_pa", t.ReliefPressurePa},
		{"hang_fire_allowance_s", t.HangFireAllowanceS}, {"thrust_sigma", t.ThrustSigma},
		{"burn_time_sigma", t.BurnTimeSigma}, {"ignition_delay_sigma_s", t.IgnitionDelaySigmaS},
		{"waiting_time_s", t.WaitingTimeS}, {"exhaust_keep_clear_m", t.ExhaustKeepClearM},
		{"mounting_torque_nm", t.MountingTorqueNM},
	} {
		if optional.value != nil {
			faults.NotNegative(optional.path, *optional.value, "")
		}
	}
	if t.DudProbability != nil {
		faults.Range("dud_probability", *t.DudProbability, 0, 1, "a fraction")
	}
	if t.Circuit != nil {
		faults.Positive("circuit.igniter_ohm", t.Circuit.IgniterOhm, "")
		faults.Positive("circuit.all_fire_a", t.Circuit.AllFireA, "")
		faults.Positive("circuit.no_fire_a", t.Circuit.NoFireA, "")
	}
	if e := t.Exhaust; e != nil {
		faults.Positive("exhaust.exit_speed_mps", e.ExitSpeedMPS, "")
		faults.Positive("exhaust.exit_diameter_m", e.ExitDiameterM, "")
		faults.Positive("exhaust.exit_density_kg_m3", e.ExitDensityKgM3, "")
		faults.Positive("exhaust.decay_constant", e.DecayConstant, "")
		faults.Positive("exhaust.speed_criterion_mps", e.SpeedCriterionMPS, "")
	}
	if areas := t.FallDragAreaM2; areas != nil && faults.NotNegative("fall_drag_area_m2[0]", areas[0], "") {
		faults.Range("fall_drag_area_m2[1]", areas[1], areas[0], 50, "at least the least")
	}
	return faults.Err()
}

func (t *Type) validateTrace(faults *violation.List) {
	if len(t.TraceS) < 2 {
		faults.Add("trace_s", violation.Number(float64(len(t.TraceS)))+" values", "at least 2", "")
		return
	}
	if len(t.TraceS) != len(t.TraceN) {
		faults.Add("trace_n", violation.Number(float64(len(t.TraceN)))+" values",
			"as many as trace_s has ("+violation.Number(float64(len(t.TraceS)))+")", "")
		return
	}
	sound := true
	for i := range t.TraceS {
		sound = faults.NotNegative(violation.Index("trace_s", i), t.TraceS[i], "") && sound
		sound = faults.NotNegative(violation.Index("trace_n", i), t.TraceN[i], "") && sound
		if i > 0 && t.TraceS[i] < t.TraceS[i-1] {
			faults.Add(violation.Index("trace_s", i), violation.Number(t.TraceS[i]),
				"at least the value before it ("+violation.Number(t.TraceS[i-1])+")", "sort the trace by time")
			sound = false
		}
	}
	if sound && !(t.TraceS[len(t.TraceS)-1] > t.TraceS[0]) {
		faults.Add("trace_s", "of no duration", "longer than 0 s", "")
	}
}
