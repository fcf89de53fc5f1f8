package takeoff

import (
	"math"
	"strconv"

	"bowroll/perf/air"
	"bowroll/perf/aircraft"
	"bowroll/perf/booster"
	"bowroll/perf/violation"
)

// A Setting is one aircraft about to take off: what it is, what it weighs, the
// air, the wind along the axis, the surface, and the units fitted to it.
type Setting struct {
	Aircraft    *aircraft.Type
	Flap        int     // index into Aircraft.Flaps
	GrossMassKG float64 // without booster units
	Air         air.Air
	HeadwindMPS float64 // credited wind along the axis, negative from behind
	Surface     Surface
	Units       []booster.Unit // fitted, as they are meant to burn
}

// A Surface is what the wheels or skis run on.
type Surface struct {
	RollingFriction float64 // mu
	BrakingFriction float64 // mu_brake, throttles closed and brakes on
	BrakesUnknown   bool    // BrakingFriction is not stated: no stop is assumed
	Upslope         float64 // rise over run along the axis, positive uphill
}

// Validate returns a [violation.List] with everything in the setting that
// cannot be worked with, or nil. It takes the types to have been validated.
func (s *Setting) Validate() error {
	var faults violation.List
	if s.Aircraft == nil {
		faults.Absent("aircraft", "given", "")
	} else if s.Flap < 0 || s.Flap >= len(s.Aircraft.Flaps) {
		faults.Add("flap", strconv.Itoa(s.Flap), "one of the aircraft's flap settings", "")
	}
	faults.Positive("gross_mass_kg", s.GrossMassKG, "without booster units")
	faults.Range("air.density_kg_m3", s.Air.DensityKgM3, 0.1, 3, "")
	faults.Range("headwind_mps", s.HeadwindMPS, -60, 100, "metres a second")
	faults.Range("surface.rolling_friction", s.Surface.RollingFriction, 0, 1, "")
	faults.Range("surface.braking_friction", s.Surface.BrakingFriction, 0, 1.5, "")
	faults.Range("surface.upslope", s.Surface.Upslope, -0.2, 0.2, "rise over run, 0.01 is 1 %")
	for i := range s.Units {
		if !sound(&s.Units[i]) {
			faults.Nest(violation.Index("units", i), validateUnit(&s.Units[i]))
		}
	}
	return faults.Err()
}

// sound is validateUnit without words, for the many calls that pass.
func sound(u *booster.Unit) bool {
	return u.Type != nil && !math.IsNaN(u.GrainTemperatureC-u.GrainTemperatureC) &&
		(u.Type.Firing == nil || u.Type.Firing.Contains(u.GrainTemperatureC)) &&
		u.LateS >= 0 && !math.IsInf(u.LateS, 1) &&
		u.ThrustDeviation >= deviationLeast && u.ThrustDeviation <= deviationMost &&
		u.RateDeviation >= deviationLeast && u.RateDeviation <= deviationMost
}

// The deviations from the nominal that are believed of a unit.
const (
	deviationLeast = -0.9
	deviationMost  = 2.0
)

func validateUnit(u *booster.Unit) error {
	var faults violation.List
	if u.Type == nil {
		faults.Absent("type", "given", "")
		return faults.Err()
	}
	if faults.Finite("grain_temperature_c", u.GrainTemperatureC, "") && u.Type.Firing != nil {
		faults.Range("grain_temperature_c", u.GrainTemperatureC,
			u.Type.Firing.MinC, u.Type.Firing.MaxC, "firing limits of the unit")
	}
	faults.NotNegative("late_s", u.LateS, "")
	faults.Range("thrust_deviation", u.ThrustDeviation, deviationLeast, deviationMost, "")
	faults.Range("rate_deviation", u.RateDeviation, deviationLeast, deviationMost, "")
	return faults.Err()
}
